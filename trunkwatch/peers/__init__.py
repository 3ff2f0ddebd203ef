"""Blocks beside blocks of their like, of one vineyard or of several growers: rates and trends by group, and what is unusual."""

from trunkwatch.peers.beside import Peers, peers_of
from trunkwatch.peers.gather import Gathered, gather

__all__ = ["Gathered", "Peers", "gather", "peers_of"]
