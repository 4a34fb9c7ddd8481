"""The headers that go with every answer."""

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


def headers_of_every_answer(secure: bool) -> dict[str, str]:
    """What keeps pages from being framed, sniffed or scripted from elsewhere; HTTPS for good where there is HTTPS."""
    return _HEADERS | ({"Strict-Transport-Security": "max-age=31536000"} if secure else {})
