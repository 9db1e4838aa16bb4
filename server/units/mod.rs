//! Lengths, angles and written numbers.

