"""QR codes on the screen, as SVG in the page."""

import io

from markupsafe import Markup


def qr_svg(text: str) -> Markup:
    """A QR code of `text` as SVG, black on white with its quiet zone; the page's style sets its size."""
    import qrcode.image.svg  # imported here, because it imports an image library and only pages with a code need it

    code = qrcode.QRCode(border=4, error_correction=qrcode.ERROR_CORRECT_M)
    code.add_data(text)
    drawn = io.BytesIO()
    code.make_image(image_factory=qrcode.image.svg.SvgPathFillImage).save(drawn)
    svg = drawn.getvalue().decode()
    return Markup(svg[svg.index("<svg") :])  # noqa: S704  (made here from a matrix of squares, without typed text)
