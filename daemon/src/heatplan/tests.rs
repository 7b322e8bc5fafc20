//! Worked examples of plans, line by line.
