mod kinds;
mod vectors;
