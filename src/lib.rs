//! The web logbook of breaker trips, fuse checks, failed engine starts, ground-relay operations and openings
//! of the ground-relay cutout switch. See DEVELOPERS.md for the map of these rooms and the walls between them.
pub mod api;
pub mod base;
pub mod book;
pub mod cli;
pub mod db;
pub mod desk;
pub mod oversight;
pub mod pages;
pub mod people;
pub mod reports;
pub mod roster;
pub mod rules;
pub mod shop;
pub mod web;
