mod kinds;
mod store;
mod vectors;
