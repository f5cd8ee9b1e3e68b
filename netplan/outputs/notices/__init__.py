"""Who is told what, by when: the address list and what is made from it."""

from netplan.outputs.notices.rows import NoticeRow, notice_rows
from netplan.outputs.notices.table import COLUMNS, notices_csv

__all__ = ["COLUMNS", "NoticeRow", "notice_rows", "notices_csv"]
