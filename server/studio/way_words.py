"""Stops as a way writes them: in sixths where they fall on one."""

FRACTIONS = {0: "", 1: "⅙", 2: "⅓", 3: "½", 4: "⅔", 5: "⅚"}


def stops_text(stops: float) -> str:
    """`½`, `1⅓`, else with two decimals."""
    sixths = round(stops * 6)
    if abs(stops * 6 - sixths) < 0.06 and sixths:
        whole, rest = divmod(sixths, 6)
        return f"{whole or ''}{FRACTIONS[rest]}"
    return f"{stops:.2f}"


def signed(stops: float) -> str:
    """`▲⅓`, `▼1`."""
    return f"{'▲' if stops > 0 else '▼'}{stops_text(abs(stops))}"
