//! Pages as people meet them: through the real router, with real cookies, in the words of the house.
mod harness;
mod html;
mod roster;

mod crew;
mod doors;
mod parked;
mod sign_in;
