"""The shop can rely on it that a text file of an image is kept as it came, and costs what changed in it."""

import pytest
from sqlalchemy.orm import Session

from app.calc.calibration.image import Image
from app.readers.image import write_image
from app.readers.image_writer import WriteFormat
from app.record import content
from app.record.tables import Content
from tests.calibration_car import RAISED, image_of
from tests.shop import Shop


def text_of(image: bytes, format: WriteFormat) -> bytes:
    return write_image(Image.of([(0, image)]), format)


@pytest.mark.parametrize("format", ["hex", "srec"])
def test_a_text_file_comes_back_and_is_kept_against_that_of_the_parent(session: Session, format: WriteFormat) -> None:
    shop = Shop(session)
    unit = shop.unit()
    stock_file, file = text_of(image_of(), format), text_of(image_of(RAISED), format)
    stock = shop.stock(unit, stock_file)
    revision = shop.revision(unit, file)
    session.expire_all()
    assert stock.original_sha256 is not None and revision.original_sha256 is not None
    assert content.fetch(session, stock.original_sha256) == stock_file
    assert content.fetch(session, revision.original_sha256) == file
    assert content.fetch(session, revision.sha256 or "") == image_of(RAISED)
    kept = session.get_one(Content, revision.original_sha256)
    assert kept.base_sha256 == stock.original_sha256
    assert len(kept.data) < len(file) // 50


def test_a_text_file_whose_parent_came_as_binary_stands_alone(session: Session) -> None:
    shop = Shop(session)
    unit = shop.unit()
    shop.stock(unit, image_of())
    file = text_of(image_of(RAISED), "hex")
    revision = shop.revision(unit, file)
    assert content.fetch(session, revision.original_sha256 or "") == file
    assert session.get_one(Content, revision.original_sha256).base_sha256 is None
