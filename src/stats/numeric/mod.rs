//! Small kernels with stated guarantees: sums that keep their figures, bracketed roots, quadrature,
//! least squares.

pub mod least_squares;
pub mod quadrature;
pub mod root;
pub mod sum;
