//! The virtual rig: invented moulds with faults that are known, seen through instruments that err.
pub mod air;
pub mod chance;
pub mod plan;
