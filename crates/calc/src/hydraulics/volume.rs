//! volume
