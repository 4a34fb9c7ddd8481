"""The headers of every response, and the fewer of static files, which would be a seventh of all that a page loads."""

_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; object-src 'none'; "
        "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}


_OF_FILES = {
    "Content-Security-Policy": "default-src 'none'",  # for a picture that is opened as a page
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def headers_of_every_answer(secure: bool) -> dict[str, str]:
    """Headers against framing, MIME sniffing and foreign scripts, and, with `secure`, Strict-Transport-Security."""
    return _HEADERS | _secure(secure)


def headers_of_files(secure: bool) -> dict[str, str]:
    """Those that mean something for a style, a script or a picture, which no page can be framed by or opened from."""
    return _OF_FILES | _secure(secure)


def _secure(secure: bool) -> dict[str, str]:
    return {"Strict-Transport-Security": "max-age=31536000"} if secure else {}
