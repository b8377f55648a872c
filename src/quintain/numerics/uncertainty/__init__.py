"""Uncertainty by first order (JCGM 100) and by Monte Carlo (JCGM 101), coverage and budgets."""
