//! leak_down
