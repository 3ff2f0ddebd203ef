"""An invented vineyard with known truths, made by a seeded simulation."""

from trunkwatch.demo.blocks import BLOCKS, DEMO_SEED, SEASONS, DemoBlock
from trunkwatch.demo.notes import demo_tables
from trunkwatch.demo.outbreak import Outbreak, simulate

__all__ = ["BLOCKS", "DEMO_SEED", "SEASONS", "DemoBlock", "Outbreak", "demo_tables", "simulate"]
