"""Whole outputs of fixed questions, kept so that a change of the code shows which figures it moves."""
