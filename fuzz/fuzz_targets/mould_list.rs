#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| borewise_fuzz::mould_list(bytes));
