"""stub"""

from typing import Any


def printed(*a: Any, **k: Any) -> Any: ...
