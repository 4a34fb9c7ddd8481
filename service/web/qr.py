"""QR codes on the screen, as SVG that is part of the page."""

import io

from markupsafe import Markup


def qr_svg(text: str) -> Markup:
    """A QR code of `text`, black on white with its quiet zone, sized by the page's style."""
    import qrcode.image.svg  # only who shows a code waits for it: it brings a library of pictures along

    code = qrcode.QRCode(border=4, error_correction=qrcode.ERROR_CORRECT_M)
    code.add_data(text)
    drawn = io.BytesIO()
    code.make_image(image_factory=qrcode.image.svg.SvgPathFillImage).save(drawn)
    svg = drawn.getvalue().decode()
    return Markup(svg[svg.index("<svg") :])  # noqa: S704  (made here from a matrix of squares, nothing typed)
