//! Flow of water through cooling circuits.

pub mod block;
pub mod circuit;
pub mod deposit;
pub mod flow_factor;
pub mod friction;
pub mod losses;
pub mod losses_table;
pub mod network;
pub mod path;
pub mod piece;
pub mod piece_form;
pub mod thread;
pub mod valve;
pub mod volume;

#[cfg(test)]
mod tests;
