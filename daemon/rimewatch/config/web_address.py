"""Whether a text is an address of a web server: where pages are reached, or points posted to."""

from urllib.parse import urlsplit


def is_web_address(url: str) -> bool:
    """Return whether a text is ``http(s)://HOST[:PORT][/PATH]`` and nothing more.

    >>> is_web_address("https://rime.example.com/shop"), is_web_address("rime.example.com")
    (True, False)
    """
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return False
    plain = not (parts.query or parts.fragment or "@" in url or port == 0)
    return parts.scheme in ("http", "https") and bool(parts.hostname) and plain and " " not in url
