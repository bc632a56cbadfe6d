"""Is the log whole? Chain, guards, rows and the files of photos held against each other; nothing is changed."""

from service.log.check.whole import LogCheck, RowsCheck, check_log, check_rows

__all__ = ["LogCheck", "RowsCheck", "check_log", "check_rows"]
