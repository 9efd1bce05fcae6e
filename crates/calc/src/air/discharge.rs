//! discharge
