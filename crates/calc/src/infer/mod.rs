//! From readings to what is in the bore.

pub mod assignment;
pub mod bore;
pub mod history;
pub mod hook_up;
pub mod information;
pub mod mixture;
pub mod proportion;
pub mod scoring;
pub mod update;
pub mod weighing;
