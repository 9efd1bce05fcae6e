//! flow_factor
