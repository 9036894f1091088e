"""What stands in the cupboard: products counted, and what was delivered."""

from typing import Annotated, ClassVar

from pydantic import Field

from fettlebook.book.kinds.forms import Count, Day, Id, Lot, Said

PackageUl = Annotated[int, Field(ge=1, le=1_000_000_000, description="content of one package, in millionths of a litre")]


class StockCounted(Said):
    """Somebody counted a product: all closed packages, and what is left in the open one where it was looked at."""

    KIND: ClassVar[str] = "stock.counted"

    product: Id
    packages: Count
    package_ul: PackageUl | None = None
    open_ul: Count | None = None


class StockReceived(Said):
    """Packages of a product were delivered."""

    KIND: ClassVar[str] = "stock.received"

    product: Id
    packages: Annotated[int, Field(ge=1, le=100_000)]
    package_ul: PackageUl | None = None
    lot: Lot | None = None
    use_by: Day | None = None
