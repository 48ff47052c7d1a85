//! guards
