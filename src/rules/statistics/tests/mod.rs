//! The statistics against published figures (`table`, `fleets`), against another library (`second_opinion`) and
//! against nonsense (`nonsense`).
mod cusum;
mod data;
mod fleets;
mod handbook;
mod nonsense;
mod rows;
mod second_opinion;
mod table;
mod trend_rows;
