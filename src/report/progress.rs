//! The page before there are results.
