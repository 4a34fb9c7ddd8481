"""The headers of every response."""

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
    """Headers against framing, MIME sniffing and foreign scripts, and, with `secure`, Strict-Transport-Security."""
    return _HEADERS | ({"Strict-Transport-Security": "max-age=31536000"} if secure else {})
