"""`millilot profile` on files in dialects the project does not know, and the import by what it proposes."""

# ruff: noqa: E501  # files are as wide as they are

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import pytest
from click.testing import CliRunner

from millilot.reports.command import main

from .proposals import Seller

if TYPE_CHECKING:
    from pathlib import Path


@dataclass
class Case:
    """A file, what must be proposed for it, and what the import must book.

    `fees` are the columns of fees with their role and sign, `events` the kinds by word.
    """

    text: str
    keys: dict[str, Any]
    sums: dict[str, str]
    fees: dict[str, tuple[str, str]] = field(default_factory=dict)
    events: dict[str, str] = field(default_factory=dict)
    currency: str = "USD"
    encoding: str = "utf-8"
    refused: int = 0
    skipped: int = 0
    status: int = 0


CASES: dict[str, Case] = {}

# One row an order; German, comma decimals, fees below 0, a totals row, lines above.
CASES["german orders"] = Case(
    """\
Handelsplatz;;;;;;;;;;;
Zeitraum: 01.03.2026 - 31.03.2026;;;;;;;;;;;

Bestellnummer;Bestelldatum;Versandt am;Artikel;Menge;Artikelpreis;Versandkosten;Umsatzsteuer;Verkaufsgebühr;Zahlungsgebühr;Auszahlungsbetrag;Status
B-1;04.03.2026;05.03.2026;Cedar Hour 5 ml;1;12,00 €;4,00 €;1,28 €;-1,60 €;-0,35 €;14,05 €;Versandt
B-2;05.03.2026;06.03.2026;Cedar Hour 10 ml;2;1.044,00 €;4,00 €;0,00 €;-104,80 €;-0,35 €;942,85 €;Versandt
B-3;15.03.2026;;Quiet Reed 5 ml;1;9,00 €;0,00 €;0,72 €;-0,90 €;-0,35 €;7,75 €;Bezahlt
B-4;16.03.2026;;Quiet Reed 5 ml;1;9,00 €;0,00 €;0,72 €;0,00 €;0,00 €;0,00 €;Storniert
Summe;;;;;1.074,00 €;8,00 €;2,72 €;-107,30 €;-1,05 €;964,65 €;
""",
    keys={
        "currency": "EUR", "file.delimiter": ";", "file.row": "order", "file.totals": ["Summe"],
        "numbers.decimal": ",", "numbers.thousands": ".", "dates.format": "%d.%m.%Y",
        "columns.order": "Bestellnummer", "columns.ordered": "Bestelldatum", "columns.shipped": "Versandt am",
        "columns.title": "Artikel", "columns.quantity": "Menge", "columns.price": "Artikelpreis",
        "columns.postage": "Versandkosten", "columns.tax": "Umsatzsteuer", "columns.net": "Auszahlungsbetrag",
        "columns.status": "Status", "status.cancelled": ["Storniert"], "status.to-pour": ["Bezahlt"],
        "tax.remitted": True,
    },
    fees={"Verkaufsgebühr": ("fees", "negative"), "Zahlungsgebühr": ("fees", "negative")},
    sums={"sales": "1065", "postage": "8", "fees": "108.35", "balance": "964.65", "cedar": "25", "reed": "5"},
    currency="EUR",
    skipped=2,
)

# Month first, told by the 25th; dollars; fees above 0; advertising and a label; refund columns in the net.
CASES["american orders"] = Case(
    """\
Order #,Sale Date,Item Title,Qty,Item Total,Shipping Charged,Sales Tax,Selling Fee,Ad Fee,Shipping Label,Refunded,Refund Date,Net Proceeds
77-1001,03/04/2026,Cedar Hour decant 5ml,1,$12.00,$4.00,$1.28,$2.08,$0.60,$3.50,$0.00,,$9.82
77-1002,03/25/2026,"Quiet Reed 2 ml, hand poured",3,$21.00,$0.00,$1.68,$2.73,$0.00,$3.50,$7.00,04/02/2026,$7.77
77-1003,03/26/2026,Mystery box,1,"$1,250.00",$0.00,$0.00,$162.50,$0.00,$9.00,$0.00,,"$1,078.50"
""",
    keys={
        "currency": "USD", "dates.format": "%m/%d/%Y", "numbers.thousands": ",", "columns.order": "Order #",
        "columns.ordered": "Sale Date", "columns.price": "Item Total", "columns.postage": "Shipping Charged",
        "columns.tax": "Sales Tax", "tax.remitted": True, "columns.net": "Net Proceeds",
        "refund.amount": "Refunded", "refund.date": "Refund Date", "refund.in-net": True, "refund.sign": "positive",
    },
    fees={"Selling Fee": ("fees", "positive"), "Ad Fee": ("ads", "positive"), "Shipping Label": ("postage", "positive")},
    sums={
        "sales": "33", "unsorted": "1250", "postage": "4", "refunds": "7", "fees": "167.31", "ads": "0.6",
        "labels": "16", "balance": "1096.09", "cedar": "5", "reed": "6",
    },
)

# The seller hands the tax on: it is in the net. Unit price times quantity.
CASES["tax in the net, unit price"] = Case(
    """\
OrderId,PurchasedAt,ProductName,UnitPrice,Units,Postage,VatCollected,Commission,Earnings
A1,2026-03-04 10:15:00,Cedar Hour 5 mL,12.00,2,4.00,2.24,3.36,26.88
A2,2026-03-05 11:00:00,Quiet Reed 5 mL,10.00,1,3.00,1.04,1.56,12.48
A3,2026-03-06 23:59:59,Quiet Reed 5 mL,10.00,3,3.00,2.64,3.96,31.68
""",
    keys={
        "columns.unit-price": "UnitPrice", "columns.quantity": "Units", "columns.tax": "VatCollected",
        "tax.remitted": False, "columns.net": "Earnings", "dates.format": "%Y-%m-%d %H:%M:%S",
    },
    fees={"Commission": ("fees", "positive")},
    sums={
        "sales": "64", "postage": "10", "tax": "5.92", "fees": "8.88", "balance": "71.04", "cedar": "10", "reed": "20",
    },
)

# A row for each item, amounts of the order repeated; French, months in words.
CASES["french items, repeated"] = Case(
    """\
N° de commande;Date de commande;Désignation;Quantité;Prix;Frais de port;Commission;Montant net
C100;4 mars 2026;Cedar Hour 5 ml;1;12,00;4,50;2,40;22,10
C100;4 mars 2026;Quiet Reed 2 ml;1;8,00;4,50;2,40;22,10
C101;15 février 2026;Quiet Reed 5 ml;1;15,00;0,00;1,50;13,50
C102;16 août 2026;Cedar Hour 5 ml;2;24,00;4,50;2,85;25,65
""",
    keys={
        "file.row": "item", "file.order-amounts": "repeated", "dates.format": "%d %B %Y", "dates.locale": "fr",
        "columns.order": "N° de commande", "columns.title": "Désignation", "columns.price": "Prix",
        "columns.postage": "Frais de port", "columns.net": "Montant net",
    },
    fees={"Commission": ("fees", "positive")},
    sums={"sales": "59", "postage": "9", "fees": "6.75", "balance": "61.25", "cedar": "15", "reed": "7"},
    currency="EUR",
)

# A row for each item, amounts of the order on the first.
CASES["spanish items, first"] = Case(
    """\
Número de pedido\tFecha del pedido\tArtículo\tCantidad\tImporte artículo\tGastos de envío\tComisión\tImporte neto
P1\t04/03/2026\tCedar Hour 5 ml\t1\t12,00\t3,00\t-2,00\t21,00
P1\t04/03/2026\tQuiet Reed 2 ml\t1\t8,00\t\t\t
P2\t28/03/2026\tQuiet Reed 5 ml\t2\t30,00\t0,00\t-3,00\t27,00
P3\t29/03/2026\tCedar Hour 5 ml\t1\t12,00\t3,00\t-1,50\t13,50
""",
    keys={
        "file.delimiter": "\t", "file.row": "item", "file.order-amounts": "first", "dates.format": "%d/%m/%Y",
        "columns.price": "Importe artículo", "columns.postage": "Gastos de envío",
    },
    fees={"Comisión": ("fees", "negative")},
    sums={"sales": "62", "postage": "6", "fees": "6.5", "balance": "61.5", "cedar": "10", "reed": "12"},
    currency="EUR",
)

# A row for each item, with its own share of each amount; numbers with a suffix.
CASES["italian items, each"] = Case(
    """\
Numero ordine|Data ordine|Articolo|Quantità|Prezzo|Spese di spedizione|Commissione|Netto
900-1|04.03.2026|Cedar Hour 5 ml|1|12,00|2,00|1,40|12,60
900-2|04.03.2026|Quiet Reed 2 ml|1|8,00|1,00|0,90|8,10
901|30.03.2026|Quiet Reed 5 ml|1|15,00|3,00|1,80|16,20
""",
    keys={
        "file.delimiter": "|", "file.row": "item", "file.order-amounts": "each", "dates.format": "%d.%m.%Y",
        "file.order-suffix": r"-\d{1,2}$", "columns.order": "Numero ordine",
    },
    fees={"Commissione": ("fees", "positive")},
    sums={"sales": "35", "postage": "6", "fees": "4.1", "balance": "36.9", "cedar": "5", "reed": "7"},
    currency="EUR",
)

# No net amount at all: headings and signs only.
CASES["dutch orders without a net"] = Case(
    """\
Bestelnummer;Besteldatum;Omschrijving artikel;Aantal;Prijs;Verzendkosten;Verkoopkosten;Status
2001;04-03-2026;Cedar Hour 5 ml;1;12,00;4,00;1,60;Verzonden
2002;31-03-2026;Quiet Reed 5 ml;1;15,00;4,00;1,90;Verzonden
2003;31-03-2026;Quiet Reed 5 ml;1;15,00;4,00;0,00;Onbetaald
""",
    keys={
        "dates.format": "%d-%m-%Y", "columns.price": "Prijs", "columns.postage": "Verzendkosten",
        "status.skip": ["Onbetaald"], "status.book": ["Verzonden"],
    },
    fees={"Verkoopkosten": ("fees", "positive")},
    sums={"sales": "27", "postage": "8", "fees": "3.5", "balance": "31.5", "cedar": "5", "reed": "5"},
    currency="EUR",
    skipped=1,
)

# Headings nobody knows: the values and the sums tell.
CASES["headings of no language"] = Case(
    """\
Xq;Tm;Wbl;Gru;Pas;Dno
K-7001;2026-03-04;Cedar Hour 5 ml;12.00;-1.20;10.80
K-7002;2026-03-05;Quiet Reed 5 ml;15.00;-1.50;13.50
K-7003;2026-03-06;Quiet Reed 2 ml;8.00;-0.95;7.05
K-7004;2026-03-07;Cedar Hour 10 ml;22.00;-2.20;19.80
""",
    keys={
        "columns.order": "Xq", "columns.ordered": "Tm", "columns.title": "Wbl", "columns.price": "Gru",
        "columns.net": "Dno",
    },
    fees={"Pas": ("fees", "negative")},
    sums={"sales": "57", "fees": "5.85", "balance": "51.15", "cedar": "15", "reed": "7"},
)

# UTF-16 with tabs, minor units, two discounts written below 0.
CASES["cents and coupons in utf-16"] = Case(
    """\
Order\tDate\tItem\tQuantity\tPrice (cents)\tCoupon (cents)\tPostage (cents)\tFee (cents)\tNet (cents)
1\t2026-03-04\tCedar Hour 5 mL\t1\t1200\t-200\t400\t182\t1218
2\t2026-03-05\tQuiet Reed 5 mL\t1\t1500\t0\t400\t247\t1653
3\t2026-03-06\tQuiet Reed 5 mL\t2\t3000\t-300\t0\t351\t2349
""",
    keys={"file.encoding": "utf-16", "numbers.minor-units": True, "columns.discount": "Coupon (cents)",
          "columns.price": "Price (cents)"},
    fees={"Fee (cents)": ("fees", "positive")},
    sums={"sales": "52", "postage": "8", "fees": "7.8", "balance": "52.2", "cedar": "5", "reed": "15"},
    encoding="utf-16",
)

# A code page without a mark, apostrophes between thousands, a trailing minus, text below the rows.
CASES["swiss francs in a code page"] = Case(
    """\
Bestellnr.;Datum;Artikel;Stück;Preis CHF;Porto CHF;Gebühr CHF;Überweisung netto CHF
1;31.03.2026;Cedar Hour 100 ml für Müller;1;1'012.00;9.00;102.10-;918.90
2;01.04.2026;Quiet Reed 5 ml;1;15.00;4.00;1.90-;17.10
3;02.04.2026;Quiet Reed 5 ml;1;15.00;4.00;1.90-;17.10

Hinweis: Beträge ohne Gewähr.
""",
    keys={
        "currency": "CHF", "numbers.thousands": "'", "dates.format": "%d.%m.%Y", "file.encoding": "cp1252",
        "columns.price": "Preis CHF", "columns.postage": "Porto CHF", "columns.net": "Überweisung netto CHF",
        "file.end": ["Hinweis:"],
    },
    fees={"Gebühr CHF": ("fees", "negative")},
    sums={"sales": "30", "unsorted": "1012", "postage": "17", "fees": "105.9", "balance": "953.1", "reed": "10"},
    currency="CHF",
    encoding="cp1252",
    skipped=1,
)

# Total fees beside their parts; what the buyer paid beside its parts: neither is counted twice.
CASES["totals beside their parts"] = Case(
    """\
Receipt ID,Date placed,Listing title,Item price,Delivery,Buyer paid,Transaction fee,Payment processing fee,Total fees,Your earnings
R1,04 Mar 2026,Cedar Hour 5 mL,12.00,4.00,16.00,1.04,0.73,1.77,14.23
R2,05 Mar 2026,Quiet Reed 5 mL,15.00,4.00,19.00,1.24,0.82,2.06,16.94
R3,06 Mar 2026,Quiet Reed 2 mL,8.00,0.00,8.00,0.52,0.49,1.01,6.99
R4,07 Mar 2026,Cedar Hour 5 mL,12.00,0.00,12.00,0.78,0.61,1.39,10.61
""",
    keys={"columns.price": "Item price", "columns.postage": "Delivery", "columns.net": "Your earnings",
          "dates.format": "%d %b %Y"},
    fees={"Transaction fee": ("fees", "positive"), "Payment processing fee": ("fees", "positive")},
    sums={"sales": "47", "postage": "8", "fees": "6.23", "balance": "48.77", "cedar": "10", "reed": "7"},
)

# The tax the channel hands on is taken off in a column of its own.
CASES["tax in and out"] = Case(
    """\
Sale ID,Sold on,Title,Sale price,Shipping,Tax collected,Tax withheld,Fee,Payout amount
S1,2026-03-04,Cedar Hour 5 mL,12.00,4.00,1.28,-1.28,-2.08,13.92
S2,2026-03-05,Quiet Reed 5 mL,15.00,4.00,1.52,-1.52,-2.47,16.53
S3,2026-03-06,Quiet Reed 5 mL,15.00,0.00,0.00,0.00,-1.95,13.05
""",
    keys={"columns.tax": "Tax collected", "tax.remitted": True},
    fees={"Fee": ("fees", "negative")},
    sums={"sales": "42", "postage": "8", "fees": "6.5", "balance": "43.5", "cedar": "5", "reed": "10"},
)

# Twelve-hour times with a zone, the headings again, a blank row.
CASES["headings again"] = Case(
    """\
Order ID,Order date,Item,Price,Fee,Net
1,"Mar 4, 2026 9:15 PM",Cedar Hour 5 mL,12.00,1.20,10.80
2,"Mar 5, 2026 11:05 AM",Quiet Reed 5 mL,15.00,1.50,13.50

Order ID,Order date,Item,Price,Fee,Net
3,"Mar 25, 2026 12:00 AM",Quiet Reed 2 mL,8.00,0.80,7.20
""",
    keys={"dates.format": "%b %d, %Y %I:%M %p"},
    fees={"Fee": ("fees", "positive")},
    sums={"sales": "35", "fees": "3.5", "balance": "31.5", "cedar": "5", "reed": "7"},
    skipped=1,
)

# A ledger with its running balance, the latest row first.
CASES["english ledger"] = Case(
    """\
Date,Activity,Order no,Reference,Details,Amount,Running balance
2026-03-31,Payout to bank,,P-9,,-10.55,0.00
2026-03-20,Refund,1002,T8,Quiet Reed 5 mL,-15.00,10.55
2026-03-18,Reserve released,1001,T7,,5.00,25.55
2026-03-10,Funds held,1001,T6,,-5.00,20.55
2026-03-06,Listing fee,,T5,,-0.20,25.55
2026-03-05,Shipping label,1001,T4,,-3.50,25.75
2026-03-05,Sale,1002,T3,Quiet Reed 5 mL,15.00,29.25
2026-03-04,Selling fee,1001,T2,,-1.75,14.25
2026-03-04,Postage charged,1001,T1b,,4.00,16.00
2026-03-04,Sale,1001,T1,Cedar Hour 5 mL,12.00,12.00
""",
    keys={
        "file.row": "event", "file.balance": "falling", "columns.balance": "Running balance",
        "columns.date": "Date", "columns.type": "Activity", "columns.order": "Order no",
        "columns.event": "Reference", "columns.title": "Details", "columns.amount": "Amount",
    },
    events={
        "Payout to bank": "payout", "Refund": "refund", "Reserve released": "release", "Funds held": "hold",
        "Listing fee": "fee", "Shipping label": "label", "Sale": "price", "Selling fee": "fee",
        "Postage charged": "postage",
    },
    sums={
        "sales": "27", "postage": "4", "fees": "1.95", "labels": "3.5", "refunds": "15", "transit": "10.55",
        "cedar": "5", "reed": "5",
    },
)

# A ledger with two columns of amounts, German.
CASES["german ledger, two columns"] = Case(
    """\
Buchungstag;Vorgang;Bestellnummer;Artikel;Gutschrift;Belastung;Saldo
04.03.2026;Verkauf;1001;Cedar Hour 5 ml;12,00;;12,00
04.03.2026;Versandkosten;1001;;4,00;;16,00
04.03.2026;Provision;1001;;;1,60;14,40
13.03.2026;Werbegebühr;;;;0,40;14,00
20.03.2026;Rückerstattung;1001;;;4,00;10,00
31.03.2026;Auszahlung;;;;10,00;0,00
""",
    keys={
        "file.row": "event", "columns.credit": "Gutschrift", "columns.debit": "Belastung", "file.balance": "rising",
        "dates.format": "%d.%m.%Y",
    },
    events={
        "Verkauf": "price", "Versandkosten": "postage", "Provision": "fee", "Werbegebühr": "ads",
        "Rückerstattung": "refund", "Auszahlung": "payout",
    },
    sums={"sales": "12", "postage": "4", "fees": "1.6", "ads": "0.4", "refunds": "4", "transit": "10", "cedar": "5"},
    currency="EUR",
)

# A ledger that writes every amount above 0; the words tell which way it goes.
CASES["ledger without signs"] = Case(
    """\
Date,Transaction type,Order ID,Item,Amount
2026-03-04,Sale,1001,Cedar Hour 5 mL,12.00
2026-03-04,Transaction fee,1001,,1.20
2026-03-05,Sale,1002,Quiet Reed 5 mL,15.00
2026-03-05,Transaction fee,1002,,1.50
2026-03-09,Refund,1002,,15.00
2026-03-31,Payout,,,9.30
""",
    keys={"file.row": "event", "columns.type": "Transaction type"},
    events={"Sale": "price", "Transaction fee": "fee", "Refund": "refund", "Payout": "payout"},
    sums={"sales": "27", "fees": "2.7", "refunds": "15", "transit": "9.3", "cedar": "5", "reed": "5"},
)

# Amounts of a settlement, one a row.
CASES["components"] = Case(
    """\
statement no,paid out on,paid out,kind of entry,order,kind of amount,amount,booked on,item
S-77,2026-03-16,12.75,,,,,,
S-77,,,Order,1001,Principal,12.00,2026-03-04,Cedar Hour 5 mL
S-77,,,Order,1001,Shipping,4.00,2026-03-04,Cedar Hour 5 mL
S-77,,,Order,1001,Tax,1.20,2026-03-04,Cedar Hour 5 mL
S-77,,,Order,1001,Tax withheld,-1.20,2026-03-04,Cedar Hour 5 mL
S-77,,,Order,1001,Commission,-1.80,2026-03-04,Cedar Hour 5 mL
S-77,,,Order,1001,Per-order fee,-0.45,2026-03-04,Cedar Hour 5 mL
S-77,,,Refund,1000,Principal,-2.00,2026-03-08,Cedar Hour 5 mL
S-77,,,Refund,1000,Commission,0.20,2026-03-08,Cedar Hour 5 mL
S-77,,,Other,,Subscription fee,-1.20,2026-03-10,
S-77,,,Other,,Advertising,2.00,2026-03-10,
""",
    keys={
        "file.row": "component", "columns.type": "kind of entry", "columns.detail": "kind of amount",
        "columns.total": "paid out", "columns.payout": "statement no", "columns.date": "booked on",
        "columns.paid-out": "paid out on", "columns.order": "order",
    },
    sums={
        "sales": "12", "postage": "4", "fees": "3.25", "refunds": "2", "ads": "-2", "transit": "12.75", "cedar": "5",
    },
)

# A payment service: statuses, authorisations, a private payment, fees beside the gross.
CASES["payment service"] = Case(
    """\
"Date","Time","Time zone","Name","Type","Status","Currency","Gross","Fee","Net","Entry no","Refers to","What for","Balance"
"04/03/2026","10:00:00","GMT","Ann Onymous","Authorisation","Completed","GBP","16.00","0.00","16.00","A1","","Cedar Hour 5 mL","0.00"
"04/03/2026","10:05:00","GMT","Ann Onymous","Payment received","Completed","GBP","16.00","-0.90","15.10","T1","A1","Cedar Hour 5 mL","15.10"
"05/03/2026","09:00:00","GMT","Bo Onymous","Payment received","Pending","GBP","12.00","0.00","12.00","T2","","Cedar Hour 5 mL","15.10"
"16/03/2026","08:00:00","GMT","Di Onymous","Sent by a friend","Completed","GBP","50.00","0.00","50.00","T4","","","65.10"
"19/03/2026","12:00:00","GMT","Ann Onymous","Payment refund","Completed","GBP","-4.00","0.10","-3.90","T5","T1","Cedar Hour 5 mL","61.20"
"31/03/2026","06:00:00","GMT","","Bank transfer","Completed","GBP","-61.20","0.00","-61.20","T6","","","0.00"
""",
    keys={
        "currency": "GBP", "file.row": "event", "columns.amount": "Gross", "columns.net": "Net",
        "columns.event": "Entry no", "columns.parent": "Refers to",
        "status.pending": ["Pending"], "dates.format": ["%d/%m/%Y %H:%M:%S", "%d/%m/%Y"],
        "dates.zone": "UTC", "dates.times": {"Date": ["Time"]},
    },
    fees={"Fee": ("fees", "negative")},
    events={
        "Authorisation": "skip", "Payment received": "price", "Sent by a friend": "private",
        "Payment refund": "refund", "Bank transfer": "payout",
    },
    sums={"sales": "16", "fees": "0.8", "refunds": "4", "owner": "50", "transit": "61.2", "cedar": "5"},
    currency="GBP",
    skipped=2,
)

# A row for each payout.
CASES["payouts"] = Case(
    """\
Payout date,Payout ID,Gross sales,Fees,Refunds,Net payout
2026-03-31,PO-17,50.00,-6.00,-4.00,40.00
2026-04-30,PO-18,30.00,-3.00,0.00,27.00
2026-05-31,PO-19,12.00,-1.20,0.00,10.80
""",
    keys={
        "file.row": "payout", "columns.date": "Payout date", "columns.payout": "PO", "columns.net": "Net payout",
        "columns.gross": "Gross sales",
    },
    fees={"Fees": ("fees", "negative")},
    sums={"balance": "-77.8", "transit": "77.8"},
)
CASES["payouts"].keys["columns.payout"] = "Payout ID"

# The refund is not in the net; its tax and the fee given back have columns of their own, all below 0 but the fee.
CASES["refund beside the net"] = Case(
    """\
Order No.,Order placed,Dispatched,Product,Goods,P&P,VAT,Buyer total,Seller fee,Net to seller,Refund amount,Refunded VAT,Fee refunded,Refunded on
10,2026-03-04T10:15:00Z,2026-03-05T08:00:00Z,Cedar Hour 5 mL,12.00,4.00,1.60,17.60,1.76,14.24,0.00,0.00,0.00,
11,2026-03-05T22:40:00Z,2026-03-06T08:00:00Z,Quiet Reed 5 mL,15.00,4.00,1.90,20.90,2.09,16.91,-19.00,-1.90,-2.09,2026-03-20T10:00:00Z
12,2026-03-06T11:00:00Z,,Quiet Reed 2 x 2 mL,14.00,0.00,1.40,15.40,1.54,12.46,0.00,0.00,0.00,
""",
    keys={
        "columns.order": "Order No.", "columns.ordered": "Order placed", "columns.shipped": "Dispatched",
        "columns.price": "Goods", "columns.postage": "P&P", "columns.tax": "VAT", "tax.remitted": True,
        "columns.net": "Net to seller", "refund.amount": "Refund amount", "refund.tax": "Refunded VAT",
        "refund.fee": "Fee refunded", "refund.date": "Refunded on", "refund.sign": "negative",
        "dates.format": "%Y-%m-%dT%H:%M:%S%z",
    },
    fees={"Seller fee": ("fees", "positive")},
    sums={
        "sales": "41", "postage": "8", "fees": "3.3", "refunds": "19", "balance": "26.7", "cedar": "5", "reed": "9",
    },
)

# Tax repeated on each item's row; a cancelled order; an exchange rate and a rate that are no amounts of the order.
CASES["items with tax, repeated"] = Case(
    """\
Order reference,Date of sale,State,Item name,Item code,Qty,Item subtotal,Order postage,Order tax,Fee rate,Order fee,Order proceeds
O-1,28 February 2026,Completed,Cedar Hour 5 mL,CH5,1,12.00,4.00,2.00,10%,2.40,21.60
O-1,28 February 2026,Completed,Quiet Reed 2 mL,QR2,1,8.00,4.00,2.00,10%,2.40,21.60
O-2,1 March 2026,Completed,Quiet Reed 5 mL,QR5,2,30.00,4.00,3.40,10%,3.40,30.60
O-3,2 March 2026,Cancelled,Quiet Reed 5 mL,QR5,1,15.00,4.00,1.90,10%,0.00,0.00
""",
    keys={
        "file.row": "item", "file.order-amounts": "repeated", "columns.sku": "Item code", "columns.tax": "Order tax",
        "tax.remitted": True, "dates.format": "%d %B %Y", "status.cancelled": ["Cancelled"],
    },
    fees={"Order fee": ("fees", "positive")},
    sums={"sales": "50", "postage": "8", "fees": "5.8", "balance": "52.2", "cedar": "5", "reed": "12"},
    skipped=1,
)

# Sales of a ledger with the gross, and with postage and tax of it beside; fees beside; the tax is handed on.
CASES["ledger with parts beside"] = Case(
    """\
Posted on;Event;Order ref;Entry no;Product title;Gross amount;of which shipping;of which tax;Fees;Net amount
04.03.2026;Sale;A-1;1;Cedar Hour 5 ml;16.00;4.00;0.00;-1.60;14.40
05.03.2026;Sale;A-2;2;Quiet Reed 5 ml;19.00;4.00;0.00;-1.90;17.10
20.03.2026;Refund;A-2;3;Quiet Reed 5 ml;-19.00;0.00;0.00;1.00;-18.00
31.03.2026;Withdrawal;;4;;-13.50;0.00;0.00;0.00;-13.50
""",
    keys={
        "file.row": "event", "columns.amount": "Gross amount", "columns.net": "Net amount",
        "columns.postage": "of which shipping", "columns.date": "Posted on",
    },
    fees={"Fees": ("fees", "negative")},
    events={"Sale": "price", "Refund": "refund", "Withdrawal": "payout"},
    sums={"sales": "27", "postage": "8", "fees": "2.5", "refunds": "19", "transit": "13.5", "cedar": "5", "reed": "5"},
)

# Days of twelve or less in both columns: what lies between them tells that the month comes first.
CASES["days told by their lag"] = Case(
    """\
Order number,Order date,Shipped date,Item,Price,Fee,Net
1,03/02/2026,03/04/2026,Cedar Hour 5 mL,12.00,1.20,10.80
2,03/05/2026,03/08/2026,Quiet Reed 5 mL,15.00,1.50,13.50
3,04/01/2026,04/09/2026,Quiet Reed 2 mL,8.00,0.80,7.20
4,04/11/2026,04/12/2026,Quiet Reed 2 mL,8.00,0.80,7.20
""",
    keys={"dates.format": "%m/%d/%Y"},
    fees={"Fee": ("fees", "positive")},
    sums={"sales": "43", "fees": "4.3", "balance": "38.7", "cedar": "5", "reed": "9"},
)

# Every other ledger: french words, comma decimals, a label and tax kept by the channel.
CASES["french ledger"] = Case(
    """\
Date;Type d'opération;N° commande;Libellé article;Montant (EUR);Solde (EUR)
04/03/2026;Vente;C-1;Cedar Hour 5 ml;12,00;12,00
04/03/2026;Frais de port;C-1;;4,00;16,00
04/03/2026;TVA collectée;C-1;;3,20;19,20
04/03/2026;TVA reversée;C-1;;-3,20;16,00
04/03/2026;Commission;C-1;;-1,60;14,40
05/03/2026;Étiquette d'expédition;C-1;;-3,50;10,90
19/03/2026;Remboursement;C-1;;-4,00;6,90
31/03/2026;Virement;;;-6,90;0,00
""",
    keys={"currency": "EUR", "file.row": "event", "file.balance": "rising", "dates.format": "%d/%m/%Y"},
    events={
        "Vente": "price", "Frais de port": "postage", "TVA collectée": "tax", "TVA reversée": "tax-remitted",
        "Commission": "fee", "Étiquette d'expédition": "label", "Remboursement": "refund", "Virement": "payout",
    },
    sums={
        "sales": "12", "postage": "4", "fees": "1.6", "labels": "3.5", "refunds": "4", "transit": "6.9", "cedar": "5",
    },
    currency="EUR",
)

# Spanish words, amounts with thin spaces between thousands, a dispute that is lost.
CASES["spanish ledger"] = Case(
    """\
Fecha,Concepto,Nº pedido,Artículo,Importe
31/03/2026,Venta,P-1,Cedar Hour 5 ml,"1\u202f012,00"
31/03/2026,Comisión,P-1,,"-101,20"
01/04/2026,Venta,P-2,Quiet Reed 5 ml,"15,00"
13/04/2026,Reembolso de comisión,P-1,,"1,20"
14/04/2026,Transferencia,,,"-900,00"
""",
    keys={"numbers.decimal": ",", "numbers.thousands": " ", "columns.amount": "Importe"},
    events={
        "Venta": "price", "Comisión": "fee", "Reembolso de comisión": "fee-refund", "Transferencia": "payout",
    },
    sums={"sales": "1027", "fees": "100", "balance": "27", "transit": "900", "cedar": "5", "reed": "5"},
    currency="EUR",
)

# What the buyer paid is the only amount besides the fee; the item's price is that.
CASES["total and fee only"] = Case(
    """\
Ref,Date,What was sold,Total,Channel fee,You receive
X1,2026-03-04,Cedar Hour 5 mL,12.00,1.20,10.80
X2,2026-03-05,Quiet Reed 5 mL,15.00,1.50,13.50
X3,2026-03-06,Quiet Reed 5 mL,15.00,1.75,13.25
""",
    keys={"columns.order": "Ref", "columns.price": "Total", "columns.net": "You receive"},
    fees={"Channel fee": ("fees", "positive")},
    sums={"sales": "42", "fees": "4.45", "balance": "37.55", "cedar": "5", "reed": "10"},
)

# A discount the seller gave on the whole order, and one that is in the prices already.
CASES["voucher of the order"] = Case(
    """\
Order,Date,Item,Quantity,Price,Voucher,Shipping,Commission,Payout
1,2026-03-04,Cedar Hour 5 mL,1,12.00,-2.00,4.00,-1.40,20.60
1,2026-03-04,Quiet Reed 2 mL,1,8.00,,,,
2,2026-03-15,Quiet Reed 5 mL,1,15.00,,4.00,-1.90,17.10
3,2026-03-16,Quiet Reed 5 mL,1,15.00,-1.00,0.00,-1.40,12.60
""",
    keys={"file.row": "item", "file.order-amounts": "first", "columns.order-discount": "Voucher",
          "columns.net": "Payout"},
    fees={"Commission": ("fees", "negative")},
    sums={"sales": "47", "postage": "8", "fees": "4.7", "balance": "50.3", "cedar": "5", "reed": "12"},
)

# Numbers of orders that begin like a currency; a payout's amount and its number under like headings.
CASES["letters before the number"] = Case(
    """\
Order ID,Created,Buyer,Country,Item,SKU,Qty,Price,Postage,Sales tax,Total paid,Refund issued,Refund issued on,Fees,Fees refunded,Payout,Payout ID,Status
ORD-1,2026-03-01,ann,US,Cedar Hour 5ml,CH5,1,14.00,4.50,1.48,19.98,0.00,,2.56,0.00,15.94,PO-1,Delivered
ORD-2,2026-03-02,bo,US,Quiet Reed 5ml,QR5,1,15.00,4.50,1.56,21.06,19.50,2026-03-12,2.64,2.14,-0.50,PO-1,Refunded
ORD-3,2026-03-03,cy,US,Quiet Reed 5ml,QR5,2,30.00,0.00,2.40,32.40,5.00,2026-03-14,3.30,0.00,21.70,PO-2,Partially refunded
ORD-4,2026-03-04,di,US,Quiet Reed 5ml,QR5,1,15.00,4.50,1.56,21.06,0.00,,0.00,0.00,0.00,,Canceled
""",
    keys={
        "columns.order": "Order ID", "columns.net": "Payout", "columns.payout": "Payout ID", "columns.sku": "SKU",
        "refund.amount": "Refund issued", "refund.fee": "Fees refunded", "refund.date": "Refund issued on",
        "refund.in-net": True, "status.cancelled": ["Canceled"],
    },
    fees={"Fees": ("fees", "positive")},
    sums={
        "sales": "59", "postage": "9", "fees": "6.36", "refunds": "24.5", "balance": "37.14", "cedar": "5", "reed": "15",
    },
    skipped=1,
)

# Short headings; a bar between cells; a discount on the line.
CASES["short headings"] = Case(
    """\
Transaction Date|Order|SKU|Product|Qty|Unit|Ship|Disc.|Tax|Comm.|Proc.|Payout Amt|Payout Ref|Payout Date
03/14/2026|5001|CH-5|Cedar Hour 5ml|2|14.00|4.50|-2.00|2.44|3.05|0.98|26.47|PB-1|03/20/2026
03/15/2026|5002|QR-10|Quiet Reed 10ml|1|25.00|0.00|0.00|2.00|2.50|0.78|21.72|PB-1|03/20/2026
03/16/2026|5003|QR-10|Quiet Reed 10ml|1|25.00|4.50|-2.50|2.16|2.70|0.84|23.46|PB-2|03/27/2026
""",
    keys={
        "columns.unit-price": "Unit", "columns.discount": "Disc.", "columns.postage": "Ship",
        "columns.net": "Payout Amt", "columns.paid-out": "Payout Date", "columns.payout": "Payout Ref",
    },
    fees={"Comm.": ("fees", "positive"), "Proc.": ("fees", "positive")},
    sums={"sales": "73.5", "postage": "9", "fees": "10.85", "balance": "71.65", "cedar": "10", "reed": "20"},
)

# A ledger of two sides in capitals: a hold and its release, a dispute that is won, money for a lost parcel.
CASES["ledger of everything"] = Case(
    """\
Txn Date,Txn Type,Ref,Order Ref,Item,Debit,Credit
14-Mar-2026,SALE,1,A1,Cedar Hour 5 ml,,14.00
14-Mar-2026,SHIPPING,2,A1,,,4.50
14-Mar-2026,SALES TAX,3,A1,,,1.48
14-Mar-2026,TAX REMITTED,4,A1,,1.48,
14-Mar-2026,COMMISSION,5,A1,,1.85,
14-Mar-2026,PROC FEE,6,A1,,0.71,
15-Mar-2026,AD SPEND,7,,,3.00,
16-Mar-2026,SHIP LABEL,8,A1,,4.10,
20-Mar-2026,RESERVE,9,,,5.00,
27-Mar-2026,RESERVE RELEASE,10,,,,5.00
28-Mar-2026,CHARGEBACK,11,A1,,18.50,
30-Mar-2026,CHARGEBACK WON,12,A1,,,18.50
31-Mar-2026,LOST PARCEL COMPENSATION,13,A1,,,4.00
31-Mar-2026,PAYOUT,14,,,12.84,
""",
    keys={"file.row": "event", "columns.credit": "Credit", "columns.debit": "Debit", "dates.format": "%d-%b-%Y"},
    events={
        "SALE": "price", "SHIPPING": "postage", "SALES TAX": "tax", "TAX REMITTED": "tax-remitted", "COMMISSION": "fee",
        "PROC FEE": "fee", "AD SPEND": "ads", "SHIP LABEL": "label", "RESERVE": "hold", "RESERVE RELEASE": "release",
        "CHARGEBACK": "dispute", "CHARGEBACK WON": "dispute-won", "LOST PARCEL COMPENSATION": "compensation",
        "PAYOUT": "payout",
    },
    sums={
        "sales": "14", "postage": "4.5", "fees": "2.56", "ads": "3", "labels": "4.1", "compensation": "4",
        "transit": "12.84", "cedar": "5",
    },
)

# Items without a net: the line's total is the unit price times the quantity, so the coupon is not in it.
CASES["coupon without a net"] = Case(
    """\
Sale Date,Order ID,Item Name,Quantity,Price,Coupon Code,Coupon Discount,Order Shipping,Order Sales Tax,Item Total,Currency,Date Shipped,Street 1,Ship City
03/14/26,3001,Cedar Hour 5ml,1,14.00,,0.00,4.50,1.48,14.00,USD,03/15/2026,1 Long Lane,Oldtown
03/15/26,3002,Quiet Reed 5ml,2,15.00,SPRING,3.00,4.50,2.70,30.00,USD,03/16/2026,1 Long Lane,Oldtown
03/15/26,3002,Cedar Hour 2ml,1,6.00,SPRING,3.00,4.50,2.70,6.00,USD,03/16/2026,1 Long Lane,Oldtown
""",
    keys={
        "file.row": "item", "file.order-amounts": "repeated", "columns.price": "Item Total",
        "columns.order-discount": "Coupon Discount", "dates.format": ["%m/%d/%y", "%m/%d/%Y"],
    },
    sums={"sales": "47", "postage": "9", "balance": "56", "cedar": "7", "reed": "10"},
)

# An amount beside the total of amount and postage; only the word of the fee is below 0.
CASES["amount and total"] = Case(
    """\
Order number;Date;Article;Amount;Shipping;Total;Commission;Status
5;01.04.2026;Cedar Hour 5 ml;12,50;3,90;16,40;-1,64;Bezahlt
6;02.04.2026;Quiet Reed 5 ml;15,00;3,90;18,90;-1,89;Versendet
7;03.04.2026;Quiet Reed 5 ml;15,00;0,00;15,00;-1,50;Storniert
""",
    keys={"columns.price": "Amount", "columns.postage": "Shipping", "status.cancelled": ["Storniert"]},
    fees={"Commission": ("fees", "negative")},
    sums={"sales": "27.5", "postage": "7.8", "fees": "3.53", "balance": "31.77", "cedar": "5", "reed": "5"},
    currency="EUR",
    skipped=1,
)

#: The bank's own account is the channel of a statement.
# A ledger whose title stands in the text of the sales only, with fees of one word.
CASES["title in the text of sales"] = Case(
    """\
Date\tType\tOrder ID\tDescription\tAmount\tBalance\tPayout ID
Feb 5, 2026\tSale\t1001\tCedar Hour decant 5ml\t$17.40\t$17.40\t
Feb 5, 2026\tFee\t1001\tSelling fee\t-$1.91\t$15.49\t
Feb 6, 2026\tShipping label\t1001\tLabel\t($4.35)\t$11.14\t
Feb 9, 2026\tSale\t1002\tQuiet Reed decant 10ml\t$26.00\t$37.14\t
Feb 9, 2026\tFee\t1002\tSelling fee\t-$2.86\t$34.28\t
Feb 10, 2026\tRefund\t1002\tRefund\t-$5.00\t$29.28\t
Feb 12, 2026\tPayout\t\tPayout to bank\t-$29.28\t$0.00\tP-77
""",
    keys={"columns.title": "Description", "columns.detail": None, "file.balance": "rising"},
    sums={
        "sales": "43.4", "fees": "4.77", "labels": "4.35", "refunds": "5", "transit": "29.28", "cedar": "5", "reed": "10",
    },
    events={"Sale": "price", "Fee": "fee", "Shipping label": "label", "Refund": "refund", "Payout": "payout"},
)

# Components whose kind of transaction has few words, a type of amount and a description beside it, and a total row.
CASES["components in three columns"] = Case(
    """\
Statement,Deposit date,Deposit amount,Transaction kind,Order,Posted,Item,Amount type,Amount description,Amount
771,2026-03-17,28.41,,,,,,,
771,,,Order,R-1,2026-03-03,Cedar Hour 5ml sprayer,Item charges,Principal,12.00
771,,,Order,R-1,2026-03-03,Cedar Hour 5ml sprayer,Item charges,Shipping,3.49
771,,,Order,R-1,2026-03-03,Cedar Hour 5ml sprayer,Item charges,Sales tax,0.96
771,,,Order,R-1,2026-03-03,Cedar Hour 5ml sprayer,Item fees,Sales tax withheld,-0.96
771,,,Order,R-1,2026-03-03,Cedar Hour 5ml sprayer,Item fees,Commission,-1.80
771,,,Order,R-2,2026-03-05,2 x Quiet Reed 5ml sprayer,Item charges,Principal,30.00
771,,,Order,R-2,2026-03-05,2 x Quiet Reed 5ml sprayer,Item fees,Commission,-4.50
771,,,Refund,R-1,2026-03-09,Cedar Hour 5ml sprayer,Item charges,Principal,-6.00
771,,,Refund,R-1,2026-03-09,Cedar Hour 5ml sprayer,Item fees,Commission,0.90
771,,,Other,,2026-03-14,,Services,Postage labels,-5.68
""",
    keys={
        "file.row": "component", "columns.type": "Transaction kind", "columns.detail": "Amount description",
        "columns.total": "Deposit amount", "columns.payout": "Statement", "columns.paid-out": "Deposit date",
    },
    sums={
        "sales": "42", "postage": "3.49", "fees": "5.4", "refunds": "6", "labels": "5.68", "transit": "28.41",
        "cedar": "5", "reed": "10",
    },
)

# Words that the file explains by its amounts: a fee given back, and what an order was sold for.
CASES["unknown words that undo others"] = Case(
    """\
Date,Type,Order,Details,Amount
2026-03-01,Sale,1,Cedar Hour 5 ml,12.00
2026-03-01,Commission,1,,-1.20
2026-03-02,Sale,2,Quiet Reed 5 ml,15.00
2026-03-02,Commission,2,,-1.50
2026-03-04,Qwertish,2,,-15.00
2026-03-04,Zorbling,2,,1.50
2026-03-09,Payout,,W-1,-5.00
""",
    keys={"columns.title": "Details"},
    sums={
        "sales": "27", "fees": "1.2", "refunds": "15", "balance": "5.8", "transit": "5", "cedar": "5", "reed": "5",
    },
    events={
        "Sale": "price", "Commission": "fee", "Qwertish": "refund", "Zorbling": "fee-refund", "Payout": "payout",
    },
)

# A status that says more than that the order is cancelled, once with the money taken.
CASES["cancelled in more words"] = Case(
    """\
Order,Sale date,Item,Subtotal,Shipping,Fee,Refund,Net,Order status
1,2026-03-01,Cedar Hour 5 ml,12.00,4.00,1.60,0.00,14.40,Completed
2,2026-03-02,Quiet Reed 5 ml,15.00,4.00,1.90,0.00,17.10,Completed
3,2026-03-03,Quiet Reed 10 ml,28.00,0.00,0.00,28.00,0.00,Cancelled - payment captured
4,2026-03-04,Cedar Hour 5 ml,12.00,4.00,0.00,0.00,0.00,Cancelled
""",
    keys={"status.cancelled": ["Cancelled", "Cancelled - payment captured"]},
    sums={
        "sales": "55", "postage": "8", "fees": "3.5", "refunds": "28", "balance": "31.5", "cedar": "5", "reed": "5",
    },
    fees={"Fee": ("fees", "positive")},
    skipped=1,
)

# Payouts with the account of the bank in every row.
CASES["payouts to one account"] = Case(
    """\
Payout ID,Initiated,Expected arrival,Gross sales,Fees,Refunds,Net payout,Bank account
po-1,05/05/26,05/08/26,"1,244.55",(124.46),(12.50),"1,107.59",****0417
po-2,05/12/26,05/15/26,"1,061.56",(106.16),0.00,955.40,****0417
po-3,05/19/26,05/22/26,559.30,(55.93),(12.50),490.87,****0417
""",
    keys={"file.row": "payout", "columns.payout": "Payout ID", "columns.net": "Net payout"},
    sums={"balance": "-2553.86", "transit": "2553.86"},
    fees={"Fees": ("fees", "negative")},
)

# Numbers of transactions under a heading that elsewhere is the kind; a payment in another currency and its exchange.
CASES["an exchange by the number of the transaction"] = Case(
    """\
Date,Type,Currency,Gross,Fee,Net,Transaction,Related transaction,Item title,Order no,Balance
11/05/2026,Payment,USD,24.40,-1.34,23.06,88E4C3,,Cedar Hour 5 ml,T-1,23.06
11/17/2026,Payment,EUR,22.00,-0.95,21.05,999B94,,2 x Quiet Reed 5 ml,T-2,21.05
11/17/2026,Currency conversion,EUR,-21.05,0.00,-21.05,3BF904,999B94,,,0.00
11/17/2026,Currency conversion,USD,22.94,0.00,22.94,17F280,999B94,,,46.00
11/20/2026,Transfer to bank,USD,-40.00,0.00,-40.00,5AA001,,,,6.00
""",
    keys={"columns.type": "Type", "columns.event": "Transaction", "columns.balance": "Balance"},
    # 22.94 / 21.05 x 0.95 = 1.04 of fees; the rest of 22.94 is the price.
    sums={"sales": "48.38", "fees": "2.38", "balance": "6", "transit": "40", "cedar": "5", "reed": "10"},
    fees={"Fee": ("fees", "negative")},
)

# Kinds as a computer writes them, in and out in two columns.
CASES["kinds in capitals"] = Case(
    """\
entry_id,booked_at,kind,order_ref,memo,money_in,money_out
e1,2026-02-01T10:00:00+00:00,ITEM_SOLD,A-1,Cedar Hour 5 mL,10.50,
e2,2026-02-01T10:00:00+00:00,SELLER_FEE,A-1,,,1.05
e3,2026-02-02T10:00:00+00:00,LABEL_PURCHASE,A-1,,,3.95
e4,2026-02-03T10:00:00+00:00,ITEM_SOLD,A-2,2 x Quiet Reed 5 mL,34.00,
e5,2026-02-03T10:00:00+00:00,BUYER_SHIPPING,A-2,,4.50,
e6,2026-02-03T10:00:00+00:00,SELLER_FEE,A-2,,,3.85
e7,2026-02-05T10:00:00+00:00,SELLER_FEE_REVERSAL,A-2,,1.70,
e8,2026-02-05T10:00:00+00:00,BUYER_REFUND,A-2,,,17.00
e9,2026-02-07T10:00:00+00:00,WITHDRAWAL,,W-44,,20.00
e10,2026-02-08T10:00:00+00:00,FUNDS_HELD,,,,2.00
""",
    keys={"columns.event": "entry_id", "columns.credit": "money_in", "columns.debit": "money_out"},
    sums={
        "sales": "44.5", "postage": "4.5", "fees": "3.2", "labels": "3.95", "refunds": "17", "balance": "2.85",
        "transit": "20", "reserve": "2", "cedar": "5", "reed": "10",
    },
)

# One price a piece, a coupon, thousands in apostrophes, bars between the cells.
CASES["prices a piece between bars"] = Case(
    """\
Sale ID|Sold at|Listing|Units|Price each|Coupon|Carriage|Platform cut|Parcel label|You receive
7/001|2026-03-02 14:05|Cedar Hour 10 ml|2|21.00|-2.00|5.00|4.50|3.10|37.40
7/002|2026-03-03 09:15|Quiet Reed 10 ml|40|34.00|0.00|9.00|136.90|8.00|1'224.10
7/003|2026-03-09 10:00|Cedar Hour 5 ml|1|8.25|0.00|3.00|1.13|0.00|10.12
7/004|2026-03-10 10:00|Cedar Hour 3 ml|3|4.95|-1.00|3.00|1.69|2.10|13.06
""",
    keys={"file.delimiter": "|", "columns.unit-price": "Price each", "columns.net": "You receive"},
    sums={
        "sales": "1422.1", "postage": "20", "fees": "144.22", "labels": "13.2", "balance": "1284.68",
        "cedar": "34", "reed": "400",
    },
    fees={"Platform cut": ("fees", "positive"), "Parcel label": ("postage", "positive")},
)

# Total, charge and what is left over in everyday words.
CASES["everyday words"] = Case(
    """\
When;What happened;For order;Item;Total;Charge;Left over;Balance afterwards
01.04.2026;Sold;5001;Cedar Hour 5 ml;14,50;-1,45;13,05;13,05
02.04.2026;Sold;5002;Quiet Reed 10 ml;21,50;-2,15;19,35;32,40
03.04.2026;Money back to buyer;5002;Quiet Reed 10 ml;-10,00;1,00;-9,00;23,40
14.04.2026;Sold;5003;3 x Cedar Hour 2 ml;24,40;-2,44;21,96;45,36
15.04.2026;Paid to bank;;;-40,00;0,00;-40,00;5,36
""",
    keys={"columns.amount": "Total", "columns.net": "Left over", "columns.order": "For order"},
    sums={
        "sales": "60.4", "fees": "5.04", "refunds": "10", "balance": "5.36", "transit": "40", "cedar": "11", "reed": "10",
    },
    fees={"Charge": ("fees", "negative")},
)

# Italian, with the code of the currency behind each amount.
CASES["italian orders"] = Case(
    """\
Numero ordine;Data ordine;Oggetto venduto;Quantità;Prezzo;Spese di spedizione;Commissione;Tariffa pagamento;Netto;Stato
IT-9001;03/02/2026;Cedar Hour 5 ml vaporizzatore;1;10,50 EUR;4,90 EUR;1,05 EUR;0,46 EUR;13,89 EUR;Spedito
IT-9002;04/02/2026;Quiet Reed 3 ml campione;2;20,40 EUR;4,90 EUR;2,04 EUR;0,76 EUR;22,50 EUR;Consegnato
IT-9003;17/02/2026;Cedar Hour 10 ml;1;16,50 EUR;0,00 EUR;1,65 EUR;0,50 EUR;14,35 EUR;Da spedire
IT-9004;18/02/2026;Cedar Hour 2 ml;1;3,30 EUR;4,90 EUR;0,33 EUR;0,25 EUR;7,62 EUR;Annullato dal compratore
""",
    keys={"file.encoding": "cp1252", "dates.format": "%d/%m/%Y", "status.cancelled": ["Annullato dal compratore"]},
    sums={"sales": "47.4", "postage": "9.8", "fees": "6.46", "balance": "50.74", "cedar": "15", "reed": "6"},
    fees={"Commissione": ("fees", "positive"), "Tariffa pagamento": ("fees", "positive")},
    currency="EUR",
    encoding="cp1252",
    skipped=1,
)

# A total of the batch that is known by nothing but its sum, and that its rows have no other amount.
CASES["a total by its sum"] = Case(
    """\
Batch,Paid out on,Batch total,Event,Order no.,Day,Listing title,What,Value
B-77,2026-06-16,32.34,,,,,,
B-77,,,Sale,Z500,2026-06-03,Cedar Hour 5ml decant,Item price,10.50
B-77,,,Sale,Z500,2026-06-03,Cedar Hour 5ml decant,Buyer postage,3.80
B-77,,,Sale,Z500,2026-06-03,Cedar Hour 5ml decant,Selling fee,-1.26
B-77,,,Sale,Z501,2026-06-04,2 x Quiet Reed 3ml decant,Item price,20.40
B-77,,,Sale,Z501,2026-06-04,2 x Quiet Reed 3ml decant,Buyer postage,3.80
B-77,,,Sale,Z501,2026-06-04,2 x Quiet Reed 3ml decant,Selling fee,-2.40
B-77,,,Refund,Z500,2026-06-09,Cedar Hour 5ml decant,Item price,-3.00
B-77,,,Refund,Z500,2026-06-09,Cedar Hour 5ml decant,Selling fee,0.50
""",
    keys={"file.row": "component", "columns.total": "Batch total", "columns.payout": "Batch"},
    sums={
        "sales": "30.9", "postage": "7.6", "fees": "3.16", "refunds": "3", "transit": "32.34", "cedar": "5", "reed": "6",
    },
)

# No amount is below 0, and no heading is known for amounts.
CASES["how much"] = Case(
    """\
When,What,For order,About,How much
2026-07-04,Order,Q10,Cedar Hour 5ml decant,10.50
2026-07-04,Commission,Q10,,1.05
2026-07-05,Shipping label,Q10,,3.20
2026-07-05,Order,Q11,Quiet Reed 3ml decant,10.20
2026-07-05,Commission,Q11,,1.02
2026-07-07,Refund,Q11,,4.00
2026-07-09,Payout,,,5.00
""",
    keys={"file.row": "event", "columns.type": "What", "columns.amount": "How much"},
    sums={
        "sales": "20.7", "fees": "2.07", "labels": "3.2", "refunds": "4", "balance": "6.43", "transit": "5",
        "cedar": "5", "reed": "3",
    },
)

# The amount before the commission, whose heading is more of a commission than of an amount.
CASES["before the commission"] = Case(
    """\
Date,Type,Devise,Avant commission,Commission,Net,N° de transaction,N° de transaction de référence,Titre de l'objet,Solde
03/06/2026,Paiement,EUR,"10,50","-0,65","9,85",X0A,,Cedar Hour 5 ml,"9,85"
04/06/2026,Paiement,EUR,"20,40","-0,95","19,45",X1A,,2 x Quiet Reed 3 ml,"29,30"
14/06/2026,Remboursement,EUR,"-10,50","0,30","-10,20",X2A,X0A,Cedar Hour 5 ml,"19,10"
16/06/2026,Virement vers compte bancaire,EUR,"-15,00","0,00","-15,00",X3A,,,"4,10"
""",
    keys={
        "columns.amount": "Avant commission", "columns.net": "Net", "columns.balance": "Solde",
        "columns.event": "N° de transaction", "columns.parent": "N° de transaction de référence",
    },
    sums={
        "sales": "30.9", "fees": "1.3", "refunds": "10.5", "balance": "4.1", "transit": "15", "cedar": "5", "reed": "6",
    },
    fees={"Commission": ("fees", "negative")},
    currency="EUR",
)

# Refunds of all that was paid have the tax in them: 14.00 + 5.00 + 0.95.
CASES["refunds with tax"] = Case(
    """\
Order,Date,Item,Item price,Postage,Sales tax,Selling fee,Refunded,Refunded on,Net
1001,2026-03-04,Cedar Hour 5 ml,14.00,5.00,0.95,1.50,19.95,2026-03-09,-1.50
1002,2026-03-15,Quiet Reed 2 ml,9.00,5.00,0.70,1.10,14.70,2026-03-19,-1.10
1003,2026-03-20,Cedar Hour 5 ml,14.00,5.00,0.95,1.50,0.00,,18.45
1004,2026-03-21,Cedar Hour 5 ml,14.00,5.00,0.95,1.50,0.00,,18.45
""",
    keys={"refund.amount": "Refunded", "refund.with-tax": True, "refund.in-net": True, "tax.remitted": False},
    fees={"Selling fee": ("fees", "positive")},
    sums={
        "sales": "51", "postage": "20", "fees": "5.6", "refunds": "33", "tax": "1.9", "balance": "34.3",
        "cedar": "15", "reed": "2",
    },
)

# What the buyer paid besides; the heading of one says so, and the sum tells of the other.
CASES["gift wrap"] = Case(
    """\
Order,Order date,Item,Item price,Delivery,Gift wrap,Handling,Commission,Refund,Refund date,Order earnings
1,2026-03-14,Cedar Hour 5 ml,12.00,4.00,1.50,0.50,1.80,0.00,,16.20
2,2026-03-15,Quiet Reed 2 ml,8.00,4.00,0.00,0.60,1.26,0.00,,11.34
3,2026-03-16,Cedar Hour 2 ml,6.00,0.00,1.25,0.00,0.73,7.25,2026-03-20,-0.73
""",
    keys={
        "columns.price": "Item price", "columns.postage": "Delivery", "columns.extras": ["Gift wrap", "Handling"],
        "columns.net": "Order earnings",
    },
    fees={"Commission": ("fees", "positive")},
    # 12 + 8 + 6, and 1.50 + 1.25 + 0.50 + 0.60 besides.
    sums={
        "sales": "29.85", "postage": "8", "fees": "3.79", "refunds": "7.25", "balance": "26.81", "cedar": "7", "reed": "2",
    },
)

# The same as amounts of their own; what is given back of it is a refund.
CASES["gift wrap by amounts"] = Case(
    """\
Date,Order,Type,Amount type,Item,Amount
2026-03-14,A1,Order,Item price,Cedar Hour 5 ml,12.00
2026-03-14,A1,Order,Gift wrap,,1.50
2026-03-14,A1,Order,Delivery,,4.00
2026-03-14,A1,Order,Commission,,-1.80
2026-03-15,A2,Order,Item price,Quiet Reed 2 ml,8.00
2026-03-15,A2,Order,Commission,,-0.80
2026-03-18,A1,Refund,Gift wrap,,-1.50
""",
    keys={"file.row": "component", "columns.detail": "Amount type", "columns.title": "Item"},
    sums={
        "sales": "21.5", "postage": "4", "fees": "2.6", "refunds": "1.5", "balance": "21.4", "cedar": "5", "reed": "2",
    },
)

# The word for the price is one for a cost elsewhere; in each sale it is what raises the account.
CASES["a price by another word"] = Case(
    """\
Date,Order,Type,Amount type,Item,Amount
2026-03-14,A1,Order,Vial charge,Cedar Hour 5 ml,12.00
2026-03-14,A1,Order,Delivery,,4.00
2026-03-14,A1,Order,Commission,,-1.80
2026-03-15,A2,Order,Vial charge,Quiet Reed 2 ml,8.00
2026-03-15,A2,Order,Commission,,-0.80
2026-03-18,A2,Refund,Vial charge,Quiet Reed 2 ml,-3.00
2026-03-18,A2,Refund,Commission,,0.30
""",
    keys={"file.row": "component", "columns.detail": "Amount type"},
    sums={
        "sales": "20", "postage": "4", "fees": "2.3", "refunds": "3", "balance": "18.7", "cedar": "5", "reed": "2",
    },
)

# No heading says which amount reached the bank; the others add up to it.
CASES["payouts by their sum"] = Case(
    """\
Statement no.,Statement date,Sent to bank on,Gross sales,Refunds,Marketplace fees,Zorbling
S-1,"Feb 28, 2026","Mar 3, 2026","$1,204.00",($31.00),($140.22),"$1,032.78"
S-2,"Mar 15, 2026","Mar 18, 2026",$310.25,$0.00,($36.10),$274.15
S-3,"Mar 31, 2026","Apr 2, 2026",$0.00,($25.00),$2.75,($22.25)
""",
    keys={"file.row": "payout", "columns.net": "Zorbling", "columns.date": "Sent to bank on"},
    fees={"Marketplace fees": ("fees", "negative")},
    # 1032.78 + 274.15 - 22.25
    sums={"transit": "1284.68", "balance": "-1284.68"},
)

# One of four orders has a status nobody knows and no net amount; the others tell what makes it.
CASES["one odd order of four"] = Case(
    """\
Order,Order date,Item,Price,Coupon,Postage,VAT,Commission,Card handling,Refund amount,Refunded on,Left for you,State
1,2026-03-14,Cedar Hour 5ml,20.00,(2.00),3.00,4.20,2.15,0.85,0.00,,22.20,Complete
2,2026-03-15,Quiet Reed 10 ml,36.00,0.00,3.00,7.80,3.60,1.40,-18.00,2026-03-20,23.80,Complete
3,2026-03-16,Quiet Reed 5 ml,9.50,0.00,0.00,1.90,1.00,0.55,0.00,,9.85,Complete
4,2026-03-17,Cedar Hour 5 ml,12.00,0.00,3.00,3.00,0.00,0.00,0.00,,0.00,Zorbled
""",
    keys={"columns.net": "Left for you", "tax.remitted": False, "refund.in-net": True, "columns.discount": "Coupon"},
    fees={"Commission": ("fees", "positive"), "Card handling": ("fees", "positive")},
    # 18 + 36 + 9.50; 22.20 + 23.80 + 9.85
    sums={
        "sales": "63.5", "postage": "6", "tax": "13.9", "fees": "9.55", "refunds": "18", "balance": "55.85",
        "cedar": "5", "reed": "15",
    },
    refused=1,
    status=1,
)

# A period that is no day; a month as German banks write it.
CASES["payouts of periods"] = Case(
    """\
Auszahlungsnummer;Ausgezahlt am;Zeitraum;Umsatz brutto;Gebühren;Erstattungen;Netto
AZ-1;5. Mrz 2026;16.02. - 28.02.;950,00;-98,20;-20,00;831,80
AZ-2;19. Mrz 2026;01.03. - 15.03.;400,25;-41,05;0,00;359,20
AZ-3;2. Apr 2026;16.03. - 31.03.;120,00;-12,60;-40,00;67,40
""",
    keys={"file.row": "payout", "columns.date": "Ausgezahlt am", "dates.locale": "de", "columns.net": "Netto"},
    fees={"Gebühren": ("fees", "negative")},
    # 831.80 + 359.20 + 67.40
    sums={"transit": "1258.4", "balance": "-1258.4"},
    currency="EUR",
)

STATEMENT = """\
Buchungstag;Verwendungszweck;Eingang;Ausgang;Saldo
31.03.2026;LANTERN PAYOUT P-9 DANKE;40,00;;140,00
01.04.2026;SUPERMARKT;;23,10;116,90
30.04.2026;LANTERN PAYOUT P-10 DANKE;15,50;;132,40
"""


@pytest.mark.parametrize("name", CASES)
def test_what_is_proposed_and_booked(name: str, tmp_path: Path) -> None:
    case = CASES[name]
    seller = Seller(tmp_path, case.currency)
    file = seller.file(case.text.encode(case.encoding))
    result = seller.propose(file)
    assert result.exit_code == case.status, result.output
    assert max(map(len, result.output.splitlines())) <= 80
    profile = seller.profile()
    assert {key: profile.get(key) for key in case.keys} == case.keys
    fees = {fee["column"]: (fee.get("role", "fees"), fee.get("sign", "positive")) for fee in profile.get("fees", [])}
    assert fees == case.fees
    if case.events:
        assert {word: rule["is"] for rule in profile["events"] for word in rule["type"]} == case.events
    outcome = seller.run_import(file)
    assert (outcome["refused"], outcome["skipped"]) == (case.refused, case.skipped), outcome["fates"]
    assert seller.sums() == case.sums


def test_a_statement_of_the_bank(tmp_path: Path) -> None:
    seller = Seller(tmp_path, "EUR")
    file = seller.file(STATEMENT, "bank.csv")
    result = seller.propose(file, account="Assets:Bank:Checking")
    assert result.exit_code == 0, result.output
    profile = seller.profile()
    assert profile["columns.credit"] == "Eingang"
    assert profile["file.balance"] == "rising"
    (rule,) = profile["events"]
    assert (rule["is"], rule["from"], rule["channel"]) == ("deposit", "Assets:Marketplace:Lantern:Transit", "Lantern")
    outcome = seller.run_import(file)
    assert (outcome["new"], outcome["skipped"]) == (2, 1)
    assert seller.sums() == {"bank": "55.5", "transit": "-55.5"}
    links = [line for line in seller.books.read_text(encoding="utf-8").splitlines() if "^payout-lantern-" in line]
    assert [line.split("^")[1] for line in links] == ["payout-lantern-P-9", "payout-lantern-P-10"]


PREFIXED = """\
Posted,Text,Amount
2026-02-05,Sale: Cedar Hour 5 ml (order 1001),10.50
2026-02-05,Selling fee (order 1001),-1.05
2026-02-05,Shipping (order 1001),4.00
2026-02-07,Sale: Quiet Reed 10 ml (order 1002),16.50
2026-02-07,Sale: Quiet Reed 10 ml x2 (order 1003),30.00
2026-02-07,Selling fee (order 1002),-1.65
2026-02-07,Shipping label (order 1002),-3.80
2026-02-09,Refund: Quiet Reed 10 ml (order 1002),-6.50
2026-02-10,Payout to bank P-9,-18.00
"""


def test_texts_that_begin_with_what_each_row_is(tmp_path: Path) -> None:
    seller = Seller(tmp_path)
    file = seller.file(PREFIXED)
    result = seller.propose(file)
    assert result.exit_code == 0, result.output
    assert max(map(len, result.output.splitlines())) <= 80
    kinds = [rule["is"] for rule in seller.profile()["events"]]
    assert sorted(kinds) == ["fee", "label", "payout", "postage", "price", "refund"]
    # What begins with the words of another must go before it.
    assert kinds.index("label") < kinds.index("postage")
    outcome = seller.run_import(file)
    # "x2" may be two vials of 10 mL, so that title is the owner's to sort.
    assert (outcome["new"], outcome["unsorted"], outcome["skipped"], outcome["refused"]) == (8, 1, 0, 0)
    assert seller.sums() == {
        "sales": "27", "unsorted": "30", "postage": "4", "fees": "2.7", "labels": "3.8", "refunds": "6.5",
        "balance": "30", "transit": "18", "cedar": "5", "reed": "10",
    }
    assert "^payout-lantern-P-9" in seller.books.read_text(encoding="utf-8")


GIFT_WRAP = """\
Order,Ordered on,Item,Quantity,Item total,Postage,Gift wrap,Fee,Net
1001,2026-03-04,Cedar Hour 5 mL,1,12.00,4.00,2.00,1.80,25.20
1001,2026-03-04,Quiet Reed 5 mL,1,9.00,4.00,0.00,1.80,25.20
1002,2026-03-05,Cedar Hour 2 mL,1,6.00,3.00,0.00,0.60,8.40
1003,2026-03-06,Cedar Hour 2 mL,1,6.00,3.00,1.00,0.60,17.90
1003,2026-03-06,Quiet Reed 2 mL,1,7.00,3.00,1.50,0.60,17.90
1004,2026-03-07,Cedar Hour 2 mL,1,6.00,3.00,1.00,0.60,15.40
1004,2026-03-07,Quiet Reed 2 mL,1,5.00,3.00,1.00,0.60,15.40
"""


def test_each_item_has_its_own_gift_wrap_beside_repeated_amounts(tmp_path: Path) -> None:
    seller = Seller(tmp_path)
    file = seller.file(GIFT_WRAP)
    result = seller.propose(file)
    assert result.exit_code == 0, result.output
    profile = seller.profile()
    assert (profile["file.order-amounts"], profile["columns.extras"]) == ("repeated", ["Gift wrap"])
    assert seller.run_import(file)["new"] == 7
    assert seller.sums() == {
        "sales": "57.5", "postage": "13", "fees": "3.6", "balance": "66.9", "cedar": "11", "reed": "9",
    }


def test_all_keys_are_explained_without_a_file() -> None:
    result = CliRunner().invoke(main, ["profile", "--keys"], catch_exceptions=False)
    assert result.exit_code == 0
    for key in ("order-suffix", "fee-sign", "cancelled", "direction", "reversed", "with-tax"):
        assert re.search(rf"^\W*{key}\b.* = ", result.output, re.MULTILINE) or f"[{key}]" in result.output, key


def test_the_books_of_the_folder_are_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seller = Seller(tmp_path, "GBP")
    file = seller.file("Order,Date,Item,Price\n1,2026-03-04,Cedar Hour 5 mL,12.00\n2,2026-03-05,Cedar Hour 5 mL,9.00\n")
    assert seller.books.name == "main.beancount"
    monkeypatch.chdir(seller.folder)
    result = CliRunner().invoke(main, ["profile", file.name, "--format", "json"], catch_exceptions=False)
    [found] = (each for each in json.loads(result.stdout)["findings"] if each["key"] == "currency")
    assert found["value"] == "GBP"
