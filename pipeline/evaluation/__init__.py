"""Scores the extraction on annotated dictations: gold files come in, figures go out."""

from pipeline.evaluation.gold import Gold, GoldError, read_gold, without_marks
from pipeline.evaluation.phenomena import PHENOMENA
from pipeline.evaluation.score import Score, score_all

__all__ = ["PHENOMENA", "Gold", "GoldError", "Score", "read_gold", "score_all", "without_marks"]
