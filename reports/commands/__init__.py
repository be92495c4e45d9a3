"""The command line's verbs, one module each; they load books, call a report and write it out."""

from __future__ import annotations

import click

from millilot.reports.commands.bottles import bottles_command
from millilot.reports.commands.channel import channel_command
from millilot.reports.commands.check import check_command
from millilot.reports.commands.collection import collection_command
from millilot.reports.commands.count import count_command
from millilot.reports.commands.demo import demo
from millilot.reports.commands.import_files import import_files
from millilot.reports.commands.labels import labels_command
from millilot.reports.commands.list import list_command
from millilot.reports.commands.new import new
from millilot.reports.commands.pack import pack_command
from millilot.reports.commands.parcel import parcel_command
from millilot.reports.commands.payouts import payouts_command
from millilot.reports.commands.plan import plan_command
from millilot.reports.commands.pour import pour_command
from millilot.reports.commands.poured import poured_command
from millilot.reports.commands.price import price_command
from millilot.reports.commands.profile import profile_command
from millilot.reports.commands.sort import sort_command
from millilot.reports.commands.splits import splits_command
from millilot.reports.commands.stock import stock_command
from millilot.reports.commands.today import today_command
from millilot.reports.commands.trace import trace_command
from millilot.reports.commands.year import year_command


@click.group()
@click.version_option(package_name="millilot")
def main() -> None:
    """Books for people who pour decants: cost per mL, payback per bottle and year-end totals."""


for command in (
    demo,
    new,
    import_files,
    profile_command,
    sort_command,
    today_command,
    bottles_command,
    year_command,
    pack_command,
    collection_command,
    splits_command,
    payouts_command,
    channel_command,
    price_command,
    plan_command,
    stock_command,
    count_command,
    list_command,
    pour_command,
    poured_command,
    labels_command,
    parcel_command,
    trace_command,
    check_command,
):
    main.add_command(command)
