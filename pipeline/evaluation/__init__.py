"""Scores the extraction on annotated dictations, and hearing on spoken texts: texts come in, figures go out."""

from pipeline.evaluation.gold import Gold, GoldError, read_gold, without_marks
from pipeline.evaluation.hearing import WordErrorsError, WordScore, plain_words, trade_words_of
from pipeline.evaluation.phenomena import PHENOMENA
from pipeline.evaluation.score import Score, score_all

__all__ = [
    "PHENOMENA",
    "Gold",
    "GoldError",
    "Score",
    "WordErrorsError",
    "WordScore",
    "plain_words",
    "read_gold",
    "score_all",
    "trade_words_of",
    "without_marks",
]
