"""Written amounts, money, and the two tables behind them."""
