"""A p-value, and how often chance alone would do it, in words."""

import math

__all__ = ["chance_words", "p_of_table", "p_words"]


def p_words(pvalue: float) -> str:
    """Write a p-value; below 0.0001 its digits say nothing."""
    return "p < 0.0001" if pvalue < 0.0001 else f"p = {pvalue:.2g}"


def p_of_table(pvalue: float) -> str:
    """Write a p-value for a column headed p."""
    return "< 0.0001" if pvalue < 0.0001 else f"{pvalue:.2g}"


def chance_words(pvalue: float) -> str:
    """Say a p-value as how often chance alone would do it."""
    if math.isnan(pvalue):
        return "no test is possible"
    if pvalue < 0.001:
        return "chance alone would do this less than once in 1,000 blocks"
    if pvalue >= 0.95:
        return "chance alone would nearly always do this"
    if pvalue <= 0.05:
        return f"chance alone would do this about {_times(pvalue)}"
    return f"chance alone would {'sometimes' if pvalue < 0.2 else 'often'} do this, about {_times(pvalue)}"


def _times(pvalue: float) -> str:
    if pvalue >= 0.1:
        tenths = round(10 * min(pvalue, 1.0))
        return "once in 10" if tenths == 1 else f"{tenths} times in 10"
    if pvalue < 0.0095:
        thousandths = max(1, round(1000 * pvalue))
        return f"{thousandths} time{'s' if thousandths > 1 else ''} in 1,000"
    return f"{round(100 * pvalue)} time{'s' if round(100 * pvalue) > 1 else ''} in 100"
