//! Small kernels with stated guarantees: sums that keep their figures, bracketed roots, quadrature.

pub mod quadrature;
pub mod root;
pub mod sum;
