"""A month at a mark on one sheet, in HTML: to print on a page of A4, and to read on a phone.

``sheet`` says what is shown, ``page`` writes it, ``strip`` draws a day, ``style`` is how it looks.
"""

from service.exports.month_sheet.page import MEDIA_TYPE, write_sheet
from service.exports.month_sheet.sheet import MonthSheet, SheetSession
from service.exports.month_sheet.style import STYLE_HASH

__all__ = ["MEDIA_TYPE", "STYLE_HASH", "MonthSheet", "SheetSession", "write_sheet"]
