"""Is the log whole? Chain, guards, rows and the files of photos held against each other; nothing is changed."""

from service.log.check.whole import LogCheck, check_log

__all__ = ["LogCheck", "check_log"]
