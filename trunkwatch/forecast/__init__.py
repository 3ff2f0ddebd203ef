"""Forecasts: what a vine does next season, learnt from the history, checked on seasons held back."""
