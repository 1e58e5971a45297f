"""Invented fleets with known truth. In: a seed and a few sizes. Out: export folders, and the truth behind them."""
