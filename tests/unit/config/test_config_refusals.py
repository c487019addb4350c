"""Every mistake is refused with the key's path, its value and what would be right."""

from collections.abc import Callable

import pytest

from rimewatch.config import Problem, load_shop

Configuration = Callable[..., str]
Refused = Callable[..., tuple[Problem, ...]]

ONE_KEY: list[tuple[str, str, str, str, str, str]] = [
    # table, key, what stands there, path, value shown, a part of the cure
    ("shop", "name", '"  "', "shop.name", '"  "', "the shop's name"),
    ("shop", "timezone", '"America/Chcago"', "shop.timezone", '"America/Chcago"',
     'did you mean "America/Chicago"?'),
    ("shop", "timezone", '"Moon/Far_Side"', "shop.timezone", '"Moon/Far_Side"', "IANA"),
    ("shop", "display", '"K"', "shop.display", '"K"', 'one of "C", "F"'),
    ("shop", "summary_at", '"6.30"', "shop.summary_at", '"6.30"', 'such as "06:30"'),
    ("shop", "summary_at", '"24:00"', "shop.summary_at", '"24:00"', "between 00:00 and 23:59"),
    ("broker", "url", '"http://127.0.0.1"', "broker.url", '"http://127.0.0.1"', "mqtt://HOST:PORT"),
    ("broker", "url", '"mqtt://127.0.0.1:99999"', "broker.url", '"mqtt://127.0.0.1:99999"',
     "mqtt://HOST:PORT"),
    ("broker", "url", '"mqtt://"', "broker.url", '"mqtt://…"', "mqtt://HOST:PORT"),
    ("broker", "url", '"mqtt://host/shop"', "broker.url", '"mqtt://…"', "mqtt://HOST:PORT"),
    ("broker", "client_id", '""', "broker.client_id", '""', "letters, digits"),
    ("broker", "ca_file", '"ca.pem"', "broker.ca_file", '"ca.pem"', 'url = "mqtts://…"'),
    ("unit", "id", '"case 1"', "unit[0].id", '"case 1"', "letters, digits"),
    ("unit", "id", '".."', "unit[0].id", '".."', "letters, digits"),
    ("unit", "name", '""', "unit[0].name", '""', "people will recognise"),
    ("unit", "kind", '"dispaly-case"', "unit[0].kind", '"dispaly-case"',
     'did you mean "display-case"?'),
    ("unit", "limit_c", '"5C"', "unit[0].limit_c", '"5C"', "a number in °C, such as 5.0"),
    ("unit", "limit_c", "true", "unit[0].limit_c", "true", "a number in °C, such as 5.0"),
    ("unit", "limit_c", "nan", "unit[0].limit_c", "nan", "a number in °C"),
    ("unit", "limit_c", "-inf", "unit[0].limit_c", "-inf", "a number in °C"),
    ("unit", "limit_c", "-300", "unit[0].limit_c", "-300", "a number in °C"),
    ("unit", "operating_limit_c", "5.0", "unit[0].operating_limit_c", "5.0", "limit_c (5.0 °C)"),
    ("unit", "operating_limit_c", "6.5", "unit[0].operating_limit_c", "6.5", "limit_c (5.0 °C)"),
    ("unit", "deadband_c", "-0.5", "unit[0].deadband_c", "-0.5", "0 to 20"),
    ("unit", "on_delay_s", "-1", "unit[0].on_delay_s", "-1", "seconds, 0 or more"),
    ("unit", "lag_s", "-1", "unit[0].lag_s", "-1", "seconds, 0 or more"),
    ("unit", "door_open_s", "0", "unit[0].door_open_s", "0", "more than 0"),
    ("unit", "defrost", '["2am"]', "unit[0].defrost[0]", '"2am"', 'such as "02:00/30m"'),
    ("unit", "defrost", '["02:00/30m", "14:00/0m"]', "unit[0].defrost[1]", '"14:00/0m"',
     'such as "02:00/30m"'),
    ("unit", "defrost", '["02:00/13h"]', "unit[0].defrost[0]", '"02:00/13h"', "up to 12h"),
    ("unit", "defrost", '["02:00/"]', "unit[0].defrost[0]", '"02:00/"', "local start and length"),
    ("unit", "defrost", '"02:00/30m"', "unit[0].defrost", '"02:00/30m"', 'such as ["02:00/30m"]'),
    ("unit", "limit_c", "41", "unit[0].limit_c", "41.0", "5.0 °C (41 °F) or less"),
    ("probe", "id", '"a/b"', "probe[0].id", '"a/b"', "letters, digits"),
    ("probe", "unit", '"case1"', "probe[0].unit", '"case1"', 'did you mean "case-1"?'),
    ("probe", "unit", '"xyz"', "probe[0].unit", '"xyz"', 'one of "case-1"'),
    ("probe", "measures", '"wind"', "probe[0].measures", '"wind"', '"air", "product", "door"'),
    ("probe", "topic", '""', "probe[0].topic", '""', "an MQTT topic"),
    ("probe", "topic", '"shop/#/air"', "probe[0].topic", '"shop/#/air"', "fill a level alone"),
    ("probe", "topic", '"shop/case+/air"', "probe[0].topic", '"shop/case+/air"',
     "fill a level alone"),
    ("probe", "topic", '"shop/air "', "probe[0].topic", '"shop/air "', "an MQTT topic"),
    ("probe", "format", '"jsn"', "probe[0].format", '"jsn"', 'did you mean "json"?'),
    ("probe", "fields", "5", "probe[0].fields", "5", "a table of paths"),
    ("probe", "fields", '{ vlue = "t" }', "probe[0].fields.vlue", "vlue", "did you mean value?"),
    ("probe", "fields", '{ value = "a-b" }', "probe[0].fields.value", '"a-b"', "JMESPath"),
    ("probe", "fields", '{ value = "" }', "probe[0].fields.value", '""', "a path into the payload"),
    ("probe", "scale", '"c"', "probe[0].scale", '"c"', 'one of "C", "F"'),
    ("probe", "every_s", "0", "probe[0].every_s", "0", "more than 0"),
    ("probe", "stale_s", "59", "probe[0].stale_s", "59.0", "at least every_s (60 s)"),
    ("probe", "uncertainty_c", "-0.1", "probe[0].uncertainty_c", "-0.1", "0 or more"),
    ("broker", "url", '"ws://host/mqtt?key=1"', "broker.url", '"ws://…"', "ws://HOST:PORT/PATH"),
    ("broker", "url", '"ws://host/a b"', "broker.url", '"ws://…"', "ws://HOST:PORT/PATH"),
    ("broker", "ca_file", '"ca.pem"', "broker.ca_file", '"ca.pem"', 'or "wss://…"'),
    ("broker", "url", '"mqtt://a b"', "broker.url", '"mqtt://a b"', "mqtt://HOST:PORT"),
    ("broker", "url", '"mqtt://a..b"', "broker.url", '"mqtt://a..b"', "mqtt://HOST:PORT"),
    ("probe", "slope", "0", "probe[0].slope", "0.0", "a factor above 0"),
    ("probe", "slope", "-1", "probe[0].slope", "-1.0", "a factor above 0"),
    ("probe", "plausible_c", "[60, -90]", "probe[0].plausible_c", "[60.0, -90.0]",
     "such as [-90.0, 60.0]"),
    ("probe", "plausible_c", "[5, 5]", "probe[0].plausible_c", "[5.0, 5.0]", "different values"),
    ("probe", "plausible_c", "[5]", "probe[0].plausible_c", "[5]", "two numbers"),
    ("contact", "name", '""', "contact[0].name", '""', "a name"),
    ("contact", "urls", "[]", "contact[0].urls", "[]", "a list of Apprise URLs"),
    ("contact", "urls", '["jsn://127.0.0.1:9000/"]', "contact[0].urls[0]", '"jsn://…"',
     "a complete Apprise URL"),
    ("contact", "urls", '["ntfy://saltmarsh?priority=urgent"]', "contact[0].urls[0]",
     '"ntfy://…"', 'would be sent as "default"'),
    ("contact", "urls", '["env:RIMEWATCH_FIRST"]', "contact[0].urls[0]", '"env:RIMEWATCH_FIRST"',
     "RIMEWATCH_FIRST to be set"),
    ("contact", "urls", '["file:/nowhere/at/all"]', "contact[0].urls[0]", '"file:/nowhere/at/all"',
     "a readable text file"),
    ("contact", "urls", '["env:no name"]', "contact[0].urls[0]", "(not shown)", '"env:NAME"'),
    ("night", "from", '"9pm"', "night.from", '"9pm"', 'such as "21:00"'),
    ("night", "to", '"21:00"', "night.to", '"21:00"', "another time than from"),
    ("night", "wake_for", '["hihg"]', "night.wake_for[0]", '"hihg"', 'did you mean "high"?'),
    ("escalation", "after_s", "-1", "escalation[0].after_s", "-1", "0 or more"),
    ("escalation", "contacts", '["frst"]', "escalation[0].contacts[0]", '"frst"',
     'did you mean "first"?'),
    ("escalation", "contacts", "[]", "escalation[0].contacts", "[]", "a list of ids of contacts"),
    ("escalation", "repeat_s", "0", "escalation[0].repeat_s", "0", "more than 0"),
]  # fmt: skip


@pytest.mark.parametrize(("table", "key", "given", "path", "value", "cure"), ONE_KEY)
def test_key_wrong_is_refused_once_with_path_value_and_cure(
    configuration: Configuration,
    refused: Refused,
    table: str,
    key: str,
    given: str,
    path: str,
    value: str,
    cure: str,
) -> None:
    """One mistake makes one problem, in one sentence that tells how to mend it."""
    (problem,) = refused(configuration(**{table: {key: given}}))

    assert (path, value) == (problem.path, problem.value)
    assert cure in problem.expected
    assert problem.text.startswith("shop.toml: ")
    assert problem.text.endswith(problem.expected)
    assert "\n" not in problem.text


MISSING = [
    ("shop", "name", "shop.name"),
    ("shop", "timezone", "shop.timezone"),
    ("unit", "name", "unit[0].name"),
    ("unit", "kind", "unit[0].kind"),
    ("probe", "id", "probe[0].id"),
    ("probe", "unit", "probe[0].unit"),
    ("probe", "measures", "probe[0].measures"),
    ("probe", "topic", "probe[0].topic"),
    ("contact", "name", "contact[0].name"),
    ("contact", "urls", "contact[0].urls"),
    ("night", "from", "night.from"),
    ("night", "to", "night.to"),
    ("escalation", "after_s", "escalation[0].after_s"),
    ("escalation", "contacts", "escalation[0].contacts"),
]


@pytest.mark.parametrize(("table", "key", "path"), MISSING)
def test_needed_key_left_out_is_refused_as_missing(
    configuration: Configuration, refused: Refused, table: str, key: str, path: str
) -> None:
    """What the service can't do without is asked for by name."""
    (problem,) = refused(configuration(**{table: {key: None}}))

    assert (path, "missing") == (problem.path, problem.value)
    assert f"{key} is missing; expected " in problem.text


@pytest.mark.parametrize(
    ("table", "key", "path", "meant"),
    [
        ("shop", "time_zone", "shop.time_zone", "timezone"),
        ("broker", "pasword", "broker.pasword", "password"),
        ("unit", "limt_c", "unit[0].limt_c", "limit_c"),
        ("unit", "limit", "unit[0].limit", "limit_c"),
        ("probe", "tpoic", "probe[0].tpoic", "topic"),
        ("contact", "url", "contact[0].url", "urls"),
        ("night", "form", "night.form", "from"),
        ("escalation", "contact", "escalation[0].contact", "contacts"),
    ],
)
def test_unknown_key_is_refused_with_the_one_probably_meant(
    configuration: Configuration, refused: Refused, table: str, key: str, path: str, meant: str
) -> None:
    """A typo would otherwise leave a default in force that nobody wanted."""
    (problem,) = refused(configuration(**{table: {key: '"x"'}}))

    assert (path, key) == (problem.path, problem.value)
    assert problem.text.endswith(f"{key} is not a known key; did you mean {meant}?")


def test_unknown_table_is_refused_with_the_one_probably_meant(
    configuration: Configuration, refused: Refused
) -> None:
    """A misspelt table is as silent as a misspelt key."""
    (problem,) = refused(configuration('[nigth]\nfrom = "21:00"\n'))

    assert problem.text == "shop.toml: nigth is not a known key; did you mean night?"


def test_key_unlike_any_other_is_refused_with_the_known_ones(
    configuration: Configuration, refused: Refused
) -> None:
    """Where nothing comes near, the choice is listed."""
    (problem,) = refused(configuration(night={"zzz": "1"}))

    assert problem.expected == "known here: from, to, wake_for"


def test_problem_names_the_unit_by_its_id(configuration: Configuration, refused: Refused) -> None:
    """People know their units by name, not by number."""
    (problem,) = refused(configuration(unit={"limit_c": '"5C"'}))

    assert problem.text == (
        'shop.toml: unit "case-1": limit_c is "5C"; expected a number in °C, such as 5.0'
    )


def test_problem_names_the_unit_by_its_number_where_it_has_no_id(
    configuration: Configuration, refused: Refused, one: Callable[..., str]
) -> None:
    """A table without an id is found by counting, from 1, as people do."""
    (problem,) = refused(configuration(one("unit", {"id": None})))

    assert problem.path == "unit[1].id"
    assert problem.text.startswith("shop.toml: [[unit]] number 2: id is missing; expected letters")


@pytest.mark.parametrize("table", ["unit", "probe", "contact"])
def test_id_given_twice_is_refused(
    configuration: Configuration, refused: Refused, one: Callable[..., str], table: str
) -> None:
    """Two things of one name can't be told apart in a record."""
    second = one(table, {"topic": '"shop/other"'} if table == "probe" else {})
    (problem,) = refused(configuration(second))

    assert problem.path == f"{table}[1].id"
    assert f"as {table}[0] has already; expected an id of its own" in problem.text


TWICE = [
    # two probes' topics and further keys that leave no way to tell them apart
    ("shop/a", {}, "shop/a", {}),
    ("shop/a", {"format": '"json"'}, "shop/a", {"fields": '{ value = "value" }'}),
    ("shop/a", {"fields": '{ value = "t" }'}, "shop/a", {"fields": '{ value = "t", time = "s" }'}),
    ("shop/a", {"format": '"number"'}, "shop/a", {"format": '"json"'}),
    ("shop/+/air", {}, "shop/+/air", {}),
    ("shop/+/air", {}, "shop/case-1/air", {}),
    ("shop/#", {}, "shop/case-1/air", {}),
]


@pytest.mark.parametrize(("first", "first_keys", "second", "second_keys"), TWICE)
def test_two_probes_on_one_topic_are_refused(
    configuration: Configuration,
    refused: Refused,
    one: Callable[..., str],
    first: str,
    first_keys: dict[str, str],
    second: str,
    second_keys: dict[str, str],
) -> None:
    """One message must not count as two probes' readings."""
    other = one("probe", {"id": '"other"', "topic": f'"{second}"', **second_keys})
    (problem,) = refused(configuration(other, probe={"topic": f'"{first}"', **first_keys}))

    assert (problem.path, problem.value) == ("probe[1].topic", f'"{second}"')
    assert 'which probe "case-1-air" reads already' in problem.text
    assert "a topic for each probe, or format and fields" in problem.expected


def test_two_values_of_one_payload_are_accepted(
    configuration: Configuration, one: Callable[..., str]
) -> None:
    """A sensor that sends air and humidity together is two probes on one topic."""
    humidity = one(
        "probe",
        {
            "id": '"case-1-humidity"',
            "measures": '"humidity"',
            "fields": '{ value = "rh" }',
        },
    )
    shop = load_shop(configuration(humidity, probe={"fields": '{ value = "t" }'}))

    assert [probe.fields["value"] for probe in shop.probes] == ["t", "rh"]


@pytest.mark.parametrize(
    ("keys", "path", "value", "cure"),
    [
        ({"scale": '"F"'}, "probe[0].scale", '"F"', "expected no scale with senml"),
        ({"fields": '{ time = "t" }'}, "probe[0].fields.time", '"t"', "has times of its own"),
    ],
)
def test_senml_with_what_it_says_itself_is_refused(
    configuration: Configuration,
    refused: Refused,
    keys: dict[str, str],
    path: str,
    value: str,
    cure: str,
) -> None:
    """RFC 8428: units and times are part of a SenML record."""
    (problem,) = refused(configuration(probe={"format": '"senml"', **keys}))

    assert (path, value) == (problem.path, problem.value)
    assert cure in problem.expected


def test_number_with_fields_is_refused(configuration: Configuration, refused: Refused) -> None:
    """A payload that is one number has no parts."""
    (problem,) = refused(configuration(probe={"format": '"number"', "fields": '{ value = "t" }'}))

    assert problem.path == "probe[0].fields"
    assert problem.expected.endswith('or format = "json"')


def test_example_in_a_refusal_can_be_pasted(configuration: Configuration, refused: Refused) -> None:
    """TOML's words for yes and no are lower case."""
    (problem,) = refused(configuration(broker={"entries": '"yes"'}))

    assert str(problem).endswith("expected true or false, such as true")


def test_password_without_a_user_is_refused(configuration: Configuration, refused: Refused) -> None:
    """MQTT 3.1.1 (OASIS, 2014), 3.1.2.9: no password flag without the user name flag."""
    (problem,) = refused(configuration(broker={"password": '"env:WORD"'}), {"WORD": "brine"})

    assert (problem.path, problem.value) == ("broker.username", "missing")


@pytest.mark.parametrize("after_s", ["600", "599"])
def test_escalation_steps_out_of_order_are_refused(
    configuration: Configuration, refused: Refused, one: Callable[..., str], after_s: str
) -> None:
    """A step that comes no later than the one before is a slip."""
    steps = one("escalation", {"after_s": "600"}) + one("escalation", {"after_s": after_s})
    (problem,) = refused(configuration(steps))

    assert (problem.path, problem.value) == ("escalation[2].after_s", f"{after_s}.0")
    assert "more than the step before (600 s)" in problem.expected


@pytest.mark.parametrize("kind", ["display-case", "walk-in"])
def test_limit_laxer_than_published_without_reason_is_refused_with_the_provision(
    configuration: Configuration, refused: Refused, kind: str
) -> None:
    """FDA Food Code 2022, 3-501.16(A)(2): cold holding at 5 °C (41 °F) or less."""
    (problem,) = refused(configuration(unit={"kind": f'"{kind}"', "limit_c": "5.1"}))

    assert (problem.path, problem.value) == ("unit[0].limit_c", "5.1")
    assert "FDA Food Code 2022, 3-501.16(A)(2)" in problem.expected
    assert 'laxer_because = "the reason"' in problem.expected


@pytest.mark.parametrize("limit_c", ["0.1", "23"])
def test_freezer_limit_at_which_fish_thaws_is_refused_whatever_the_reason(
    configuration: Configuration, refused: Refused, limit_c: str
) -> None:
    """FDA Food Code 2022, 3-501.11 (from memory): stored frozen foods are kept frozen."""
    unit = {"kind": '"freezer"', "limit_c": limit_c, "laxer_because": '"a reason"'}
    (problem,) = refused(configuration(unit=unit))

    assert (problem.path, problem.value) == ("unit[0].limit_c", str(float(limit_c)))
    assert "0 °C (32 °F) or less, such as -18.0 °C (FDA Food" in problem.expected


def test_limit_laxer_than_published_with_blank_reason_is_refused(
    configuration: Configuration, refused: Refused
) -> None:
    """A reason is words."""
    (problem,) = refused(configuration(unit={"limit_c": "7", "laxer_because": '"  "'}))

    assert problem.path == "unit[0].limit_c"


@pytest.mark.parametrize(
    ("rest", "path", "value", "cure"),
    [
        ('[priorities]\nstael = "high"', "priorities.stael", "stael", "did you mean stale?"),
        ('[priorities]\ndoor = "urgent"', "priorities.door", '"urgent"', '"high", "medium", "low"'),
        ("[priorities]\npower-loss = 1", "priorities.power-loss", "1", '"high", "medium", "low"'),
    ],
)
def test_priority_unknown_is_refused(
    configuration: Configuration, refused: Refused, rest: str, path: str, value: str, cure: str
) -> None:
    """A rule or a priority that does not exist changes nothing, so it is refused."""
    (problem,) = refused(configuration(rest))

    assert (path, value) == (problem.path, problem.value)
    assert cure in problem.expected


def test_half_a_client_certificate_is_refused(
    configuration: Configuration, refused: Refused
) -> None:
    """A certificate without its key can't be used."""
    problems = refused(
        configuration(broker={"url": '"mqtts://broker.local"', "cert_file": '"no-such.pem"'})
    )

    assert [problem.path for problem in problems] == ["broker.key_file", "broker.cert_file"]
    assert "the path of the other half of cert_file" in problems[0].expected
    assert 'is "no-such.pem" and there is no such file' in problems[1].text


def test_all_problems_are_reported_at_once(
    configuration: Configuration, refused: Refused, one: Callable[..., str]
) -> None:
    """Nobody wants to mend a file one error at a time."""
    text = configuration(
        one("unit", {"id": '"walk-in"', "kind": '"walkin"', "operating_limit_c": "[]"}),
        shop={"display": '"K"'},
        unit={"limit_c": '"5C"', "lag": "3", "deadband_c": "-1"},
        probe={"unit": '"case-2"', "stale_s": "1"},
        night={"to": '"21:00"'},
        contact={"urls": '["env:GONE", "jsn://x/", 5]'},
        escalation={"contacts": '["nobody"]'},
    )

    assert [problem.path for problem in refused(text)] == [
        "shop.display",
        "unit[0].limit_c",
        "unit[0].deadband_c",
        "unit[0].lag",
        "unit[1].kind",
        "unit[1].operating_limit_c",
        "probe[0].unit",
        "probe[0].stale_s",
        "contact[0].urls[2]",
        "contact[0].urls[0]",
        "contact[0].urls[1]",
        "night.to",
        "escalation[0].contacts[0]",
    ]


def test_reference_to_a_refused_id_is_not_refused_as_well(
    configuration: Configuration, refused: Refused
) -> None:
    """One cause, one message: mending the contact's id may mend the escalation too."""
    problems = refused(configuration(contact={"id": '"the first"'}))

    assert [problem.path for problem in problems] == ["contact[0].id"]


def test_probe_of_a_refused_unit_is_not_refused_as_well(
    configuration: Configuration, refused: Refused
) -> None:
    """One cause, one message: the unit exists, something else of it is wrong."""
    problems = refused(configuration(unit={"kind": '"cupboard"'}))

    assert [problem.path for problem in problems] == ["unit[0].kind"]
