//! Tokens of other programs, and the description of what they can ask.

use std::path::Path;
use std::process::Command;

use crate::program::borewise_in_folder;
