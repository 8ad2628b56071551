"""Nothing to collect in ``checks.py``: importing it twice would register its checks twice."""

collect_ignore = ["checks.py"]
