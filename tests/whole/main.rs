//! Whole drives of the shipped cars: balances, convergence of the time step, typical figures.

mod balances;
mod cold;
mod figures;
mod fuel;
mod rig;
mod step;
