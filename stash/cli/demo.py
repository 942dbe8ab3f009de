"""stub"""


def demo() -> None:
    """x"""
