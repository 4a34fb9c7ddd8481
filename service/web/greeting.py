"""What the terminal shows when the service has started: its addresses, and how to sign in with a phone."""

from collections.abc import Sequence
from io import StringIO

_WHITE_ON_BLACK = "\x1b[97;40m"
_RESET = "\x1b[0m"


def greeting(addresses: Sequence[str], sign_in_link: str | None, *, colors: bool = True) -> str:
    """The text, with a QR code of the address for phones if there is one.

    Args:
        addresses: the addresses of the service, the one for this computer first, the one for phones last.
        sign_in_link: the link that signs the lead in once; None if the lead has a passphrase.
        colors: set the code's colors, so that it can also be read from a light terminal; not for a log file.
    """
    lines = [f"Coilbook is running at {addresses[0]}", ""]
    if sign_in_link:
        lines += ["Sign in as the lead, once, with this link:", f"  {sign_in_link}", ""]
    for_phones = addresses[-1]
    if for_phones.startswith("http://localhost"):
        lines += ["Phones cannot reach it: it listens to this computer only, or there is no network.", ""]
    else:
        lines += [f"With a phone in the same network, open {for_phones}", "or point its camera here:", ""]
        lines += [*_terminal_code(for_phones, colors=colors), ""]
    return "\n".join([*lines, "Ctrl-C stops it."])


def _terminal_code(text: str, *, colors: bool) -> list[str]:
    """Lines of half blocks, each of two rows of modules, light on dark like most terminals."""
    from qrcode import QRCode  # imported here, because only a printed code needs it

    code = QRCode()
    code.add_data(text)
    drawn = StringIO()
    code.print_ascii(out=drawn, invert=True)
    lines = drawn.getvalue().splitlines()
    return [f"{_WHITE_ON_BLACK}{line}{_RESET}" for line in lines] if colors else lines
