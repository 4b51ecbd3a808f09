//! Roots and extrema of smooth functions of one variable.
