"""One page a module: it asks, calls one use case, and shows what comes back. Here is the list of them, way by way."""

from __future__ import annotations

from curejournal.base.messages import msg
from curejournal.ui.page import Page

PAGES = (
    Page(msg("Today"), "today", msg("Today"), titled=False),
    Page(msg("Pouring day"), "pour", msg("Today"), writes=True),
    Page(msg("Batches"), "batches", msg("Batches")),
    Page(msg("One batch"), "batch", msg("Batches"), listed=False, titled=False),
    Page(msg("Add photos"), "photos", msg("Photos"), writes=True),
    Page(msg("Inbox"), "inbox", msg("Photos"), writes=True),
    Page(msg("pH strips"), "strips", msg("Photos"), writes=True),
    Page(msg("Cards"), "cards", msg("Photos")),
    Page(msg("One photo"), "photo", msg("Photos"), listed=False, titled=False),
    Page(msg("Plan a pour"), "plan", msg("Plan")),
    Page(msg("Compare"), "compare", msg("Compare")),
    Page(msg("Materials"), "materials", msg("Materials"), tab=msg("Each material")),
    Page(msg("Find the cause"), "causes", msg("Materials")),
    Page(msg("Lots"), "lots", msg("Materials")),
    Page(msg("Portfolio"), "portfolio", msg("Portfolio")),
    Page(msg("Documents"), "documents", msg("Documents"), tab=msg("Records, labels, lots")),
    Page(msg("Customers"), "customers", msg("Documents")),
    Page(msg("Share and import"), "share", msg("Documents")),
    Page(msg("Units, dates, language"), "settings", msg("Settings")),
    Page(msg("Rules"), "rules", msg("Settings")),
    Page(msg("People"), "people", msg("Settings")),
    Page(msg("Room"), "room", msg("Settings")),
    Page(msg("Backup and check"), "backup", msg("Settings"), tab=msg("Backup")),
    Page(msg("Demo journal"), "demo", msg("Settings"), writes=True),
    Page(msg("Help"), "help", msg("Help")),
)
"""Every page, in the order of the ways and of the parts within one."""
