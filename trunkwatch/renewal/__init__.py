"""Renewal: what a work costs and brings, strategies on the same futures, the plan for the winter."""
