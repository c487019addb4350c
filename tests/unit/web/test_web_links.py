"""A link acknowledges one alarm for some hours, for whoever was sent it, and nothing else."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.vocabulary import ContactId
from rimewatch.web.link_key import LinkKeyError, key_path, link_key
from rimewatch.web.links import Claim, Fault, LinkError, claim_of, token_of

KEY = bytes(range(32))
NOW_MS = 1_772_506_800_000
CLAIM = Claim(
    alarm_id="case-1:holding:1772506800000",
    contact=ContactId("first"),
    expires_ms=NOW_MS + 86_400_000,
)


def fault_of(token: str, key: bytes = KEY, now_ms: int = NOW_MS) -> Fault:
    """Return why a link does not serve."""
    with pytest.raises(LinkError) as caught:
        claim_of(key, token, now_ms)
    return caught.value.fault


def test_link_gives_back_what_was_signed() -> None:
    """Which alarm, for whom, until when."""
    assert claim_of(KEY, token_of(KEY, CLAIM), NOW_MS) == CLAIM


def test_link_fits_a_text_message_and_an_address() -> None:
    """Nothing in it needs to be escaped; it is not much longer than what it says."""
    token = token_of(KEY, CLAIM)

    assert len(token) < 110
    assert all(c.isascii() and (c.isalnum() or c in "-_.") for c in token)


def test_link_expires_to_the_millisecond() -> None:
    """A phone lost next week acknowledges nothing."""
    token = token_of(KEY, CLAIM)

    assert claim_of(KEY, token, CLAIM.expires_ms - 1) == CLAIM
    assert fault_of(token, now_ms=CLAIM.expires_ms) is Fault.EXPIRED


def test_link_of_another_key_is_forged() -> None:
    """A shop that removes the key's file makes every link void."""
    assert fault_of(token_of(KEY, CLAIM), key=bytes(32)) is Fault.FORGED


@given(st.data())
def test_link_changed_anywhere_is_forged(data: st.DataObject) -> None:
    """No letter of it can be another one: neither in the claim nor in the code."""
    token = token_of(KEY, CLAIM)
    place = data.draw(st.integers(0, len(token) - 1))
    other = data.draw(st.sampled_from("ABab01-_.=").filter(lambda letter: letter != token[place]))
    assert fault_of(token[:place] + other + token[place + 1 :]) is Fault.FORGED


@given(st.text(max_size=1500))
def test_link_of_any_text_is_forged_and_raises_nothing_else(token: str) -> None:
    """Whatever somebody types behind the address."""
    assert fault_of(token) is Fault.FORGED


@given(
    alarm_id=st.text(max_size=80), contact=st.text(max_size=64), expires_s=st.integers(0, 10**11)
)
def test_any_claim_comes_back(alarm_id: str, contact: str, expires_s: int) -> None:
    """Ids are the shop's; none of them breaks a link."""
    try:
        alarm_id.encode()
        contact.encode()
    except UnicodeEncodeError:
        return
    claim = Claim(alarm_id=alarm_id, contact=ContactId(contact), expires_ms=expires_s * 1000 + 1000)
    assert claim_of(KEY, token_of(KEY, claim), 0) == claim


def test_short_key_is_refused() -> None:
    """An empty key would sign for everybody."""
    with pytest.raises(ValueError, match="expected at least 32"):
        token_of(b"", CLAIM)


def test_key_is_made_once_for_its_owner_alone(tmp_path: Path) -> None:
    """The second start uses the first one's key, so links sent before still serve."""
    path = key_path(tmp_path / "rimewatch.db")
    first = link_key(path)

    assert link_key(path) == first
    assert len(first) == 32
    assert path.stat().st_mode & 0o777 == 0o600
    assert sorted(tmp_path.iterdir()) == [path]  # nothing else is left behind


def test_key_file_with_something_else_in_it_is_refused_with_its_cure(tmp_path: Path) -> None:
    """A truncated file must not become a weak key."""
    path = key_path(tmp_path / "rimewatch.db")
    path.write_bytes(b"short")
    with pytest.raises(LinkKeyError, match="holds 5 bytes, expected the 32"):
        link_key(path)


def test_key_that_cannot_be_made_is_refused_with_its_reason(tmp_path: Path) -> None:
    """The service goes on without links, and says why."""
    with pytest.raises(LinkKeyError, match="cannot be read or made"):
        link_key(tmp_path / "missing" / "key")
