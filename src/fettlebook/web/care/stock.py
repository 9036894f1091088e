"""Stock: what is left, how fast it goes, when it runs out, the last day to order, and what each bottle and tank took."""

from datetime import date
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.exchange.stock_chart import stock_chart
from fettlebook.said import said
from fettlebook.standing.asking import name_of
from fettlebook.standing.look import Look
from fettlebook.standing.stock import LEAD_DAYS, USE_DAYS, StockSays, stock_of
from fettlebook.web.care.entering.routes import buttons_of
from fettlebook.web.care.frame import Care, moment_of, table

Found = tuple[tuple[StockSays, ...], date]


def stock_routes(care: Care) -> APIRouter:
    """Return the routes of the stock."""
    router = APIRouter()

    def found() -> Found:
        return care.found("stock", _find)

    @router.get("/water/stock")
    def _all(written: str = "") -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        products, today = found()
        return care.show(
            "care_stock.html", "stock", said("Stock"), enter=buttons_of("stock"), written=written,
            products=products, on_day=today, lead_days=LEAD_DAYS, use_days=USE_DAYS,
            drawing=stock_chart(products, today), vessels=[(one, vessel) for one in products for vessel in one.vessels],
        )  # fmt: skip

    @router.get("/water/stock/{name}.csv")
    def _csv(name: str) -> Response:
        if name not in TABLES:
            raise HTTPException(404, f"No such table. There are: {', '.join(TABLES)}.")
        all_of_it = found()
        return table(f"stock-{name}", care.found(f"stock csv {name}", lambda look: _rows(look, name, all_of_it)))

    return router


TABLES = ("products", "filled")


def _find(look: Look) -> Found:
    today = look.basis.day_of(look.at)
    products = [stock_of(look, product, LEAD_DAYS, USE_DAYS) for product in look.basis.practice.products]
    return tuple(sorted(products, key=lambda one: (one.order_by or date.max, one.product))), today


def _rows(look: Look, name: str, found: Found) -> list[dict[str, Any]]:
    products, today = found
    if name == "products":
        return [
            {
                "product": p.product, "counted": moment_of(look, p.counted_ms),
                "packages_left": "" if p.packages_left is None else p.packages_left,
                "litres_left": "" if p.left_l is None else round(p.left_l, 3),
                "litres_a_week": "" if p.used_l_a_week is None else round(p.used_l_a_week, 4), "opened": p.opened,
                "runs_out_early": p.runs_out[0] if p.runs_out else "", "runs_out": p.runs_out[1] if p.runs_out else "",
                "runs_out_late": p.runs_out[2] or "" if p.runs_out else "", "order_by": p.order_by or "",
                "order_now": "yes" if p.to_order(today) else "no", "why_not": p.why,
            }
            for p in products
        ]  # fmt: skip
    return [
        {
            "product": p.product, "into": name_of(v.subject), "fills": v.fills, "product_l": round(v.product_l, 4),
            "water_l": round(v.water_l, 3), "without_amount": v.untold,
        }
        for p in products for v in p.vessels
    ]  # fmt: skip
