"""The aim by its terms, as the programme of a step has them: another way to it than the search's own."""

import numpy as np


def value_of(terms):
    """Return the aim that terms make."""
    return sum(term.share * term.soft_maximum for term in terms)


def slope_of(terms):
    """Return how the aim that terms make changes with each bump (w,)."""
    slope = np.zeros(terms[0].slopes.shape[1])
    for term in terms:
        part = term.weights * np.exp(term.sharp * (term.values - term.values.max()))
        slope += term.share * (part @ term.slopes) / part.sum()
    return slope
