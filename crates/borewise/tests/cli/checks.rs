//! `borewise check`, the command line itself, and how every command ends.

use crate::program::{borewise, borewise_unread, shown, visit_of};

/// The topics of `data/reference`, from the fields of knowledge that the method book names.
const TOPICS: [&str; 15] = [
    "air",
    "comparison",
    "flow-factor",
    "friction",
    "glycol",
    "instruments",
    "leak",
    "network",
    "pipes",
    "steady-flow",
    "stored-energy",
    "uncertainty",
    "valve",
    "volume",
    "water",
];

#[test]
fn every_outside_check_of_every_topic_holds() {
    let ended = borewise(&["check", "--json"]);
    let report = ended.document();
    let cases = report["cases"].as_array().unwrap();
    for topic in TOPICS {
        let of_topic: Vec<_> = cases.iter().filter(|case| case["topic"] == topic).collect();
        assert!(!of_topic.is_empty(), "no case has the topic {topic}");
        for case in of_topic {
            assert_eq!(case["passed"], true, "{topic}: {case:#}");
            assert_ne!(case["kind"], "pinned", "our own output is no outside check: {case:#}");
        }
    }
    assert_eq!(report["failed"], 0);
    assert_eq!(ended.code, 0);
}

#[test]
fn one_topic_alone() {
    let ended = borewise(&["check", "--topic", "water"]);
    assert_eq!(ended.code, 0, "{ended:?}");
    assert!(ended.out.contains("water") && !ended.out.contains("friction"), "{}", ended.out);
    let ended = borewise(&["check", "--topic", "wather", "--json"]);
    assert_eq!((ended.code, ended.error_words("field")), (2, vec!["topic".to_owned()]));
    assert!(
        TOPICS.iter().all(|topic| ended.err.contains(topic)),
        "the hint names every topic: {}",
        ended.err
    );
    let ended = borewise(&["check", "--topic", "wather"]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""));
}

#[test]
fn a_command_line_that_cannot_be_meant_is_bad_input() {
    for arguments in [
        &[][..],
        &["asses"],
        &["assess"],
        &["assess", "a", "b"],
        &["assess", "a", "--jsn"],
        &["simulate", "a"],
        &["check", "water"],
    ] {
        let ended = borewise(arguments);
        assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{arguments:?}: {ended:?}");
        assert!(!ended.err.is_empty(), "{arguments:?}");
    }
    for arguments in [
        &["assess", "--json"][..],
        &["assess", "--json", "a", "--ouch"],
        &["check", "--json", "--topik", "x"],
        &["calc"],
        &["calc", "--list", "--schema", "water"],
        &["calc", "--schema", "water", "friction"],
        &["calc", "--list", "water"],
    ] {
        let ended = borewise(arguments);
        assert_eq!((ended.code, ended.errors().len()), (2, 1), "{arguments:?}: {ended:?}");
    }
}

#[test]
fn help_says_what_the_exit_codes_mean() {
    for arguments in [&["--help"][..], &["assess", "--help"], &["calc", "--help"], &["--version"]] {
        let ended = borewise(arguments);
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{arguments:?}");
        assert!(!ended.out.is_empty());
    }
    assert!(borewise(&["--help"]).out.contains("Exit codes: 0 done; 1 done"));
}

#[test]
fn a_reader_that_goes_away_ends_the_program_quietly() {
    let visit = visit_of("AB-127");
    for (arguments, code) in [
        (&["calc", "--list"][..], 0),
        (&["calc", "--schema", "circuit-flow"], 0),
        (&["check", "--json"], 0),
        (&["assess", "--json", shown(&visit)], 1),
        (&["assess", shown(&visit)], 1),
        (&["--help"], 0),
    ] {
        let ended = borewise_unread(arguments);
        assert_eq!((ended.code, ended.err.as_str()), (code, ""), "{arguments:?}");
    }
}

#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_is_told_and_a_mute_terminal_is_survived() {
    use std::process::Command;
    let full = || std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let status = |arguments: &[&str], out_full: bool, err_full: bool| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_borewise"));
        command.args(arguments).stdout(std::process::Stdio::null()).stderr(std::process::Stdio::null());
        if out_full {
            command.stdout(full());
        }
        if err_full {
            command.stderr(full());
        }
        command.status().unwrap().code()
    };
    assert_eq!(status(&["calc", "--list"], true, false), Some(3));
    assert_eq!(status(&["calc", "watr"], false, true), Some(2));
    assert_eq!(status(&["calc", "watr"], true, true), Some(3));
    assert_eq!(status(&["check", "--topic", "valve"], true, true), Some(3));
}
