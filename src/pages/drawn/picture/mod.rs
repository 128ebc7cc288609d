//! Pictures of numbers, drawn here as SVG: across in parts of the width, down in heights of the letters, themed by classes
//! of `static/book.css` alone. Each has its title and description, a table, and the same numbers as CSV.
pub mod axis;
pub mod bars;
pub mod data;
pub mod heat;
pub mod opening;
pub mod rates;
pub mod sum;
pub mod timeline;
pub mod volts;

pub use axis::Axis;
pub use data::Sheet;
