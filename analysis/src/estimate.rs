//! Estimates with their intervals, and refusals where there is no number to give.
