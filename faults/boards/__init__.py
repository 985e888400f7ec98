"""How memories are built: a board file, the ways of building a store, and the sites they have."""

from faults.boards.board import Board
from faults.boards.load import load_board, parse_board, shipped_boards

__all__ = ["Board", "load_board", "parse_board", "shipped_boards"]
