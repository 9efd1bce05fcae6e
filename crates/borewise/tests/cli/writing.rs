//! Files are written whole or not at all, and nothing is written over unasked.

use std::fs;

use crate::program::{borewise, data, files_below, new_folder, shown, visit_of};

#[test]
fn a_folder_that_cannot_be_one_is_refused_and_left_alone() {
    let folder = new_folder();
    let file = folder.join("a-file");
    fs::write(&file, "mine").unwrap();
    let plan = data().join("demo/plans/tool-hook.plan.toml");
    let visit = visit_of("AB-146");
    for out in [file.clone(), file.join("below")] {
        for arguments in [
            &["assess", shown(&visit), "--out", shown(&out)][..],
            &["simulate", shown(&plan), "--out", shown(&out)],
            &["demo", "--no-open", "--data", shown(&out)],
        ] {
            let ended = borewise(arguments);
            assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{arguments:?}: {ended:?}");
            assert!(ended.err.contains(shown(&out)), "{arguments:?}: {ended:?}");
        }
        let ended = borewise(&["assess", shown(&visit), "--json", "--out", shown(&out)]);
        assert_eq!((ended.code, ended.errors().len()), (3, 1), "{ended:?}");
    }
    assert_eq!(files_below(&folder), ["a-file"]);
    assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
}

#[test]
#[cfg(unix)]
fn a_folder_that_may_not_be_written_stays_as_it_is() {
    use std::os::unix::fs::PermissionsExt;
    let parent = new_folder();
    let out = parent.join("out");
    fs::create_dir(&out).unwrap();
    for path in [&out, &parent] {
        fs::set_permissions(path, fs::Permissions::from_mode(0o555)).unwrap();
    }
    // Whoever may do everything cannot be refused anything.
    let refused = fs::write(out.join("probe"), "").is_err();
    let ended = refused.then(|| borewise(&["assess", shown(&visit_of("AB-146")), "--out", shown(&out)]));
    for path in [&parent, &out] {
        fs::set_permissions(path, fs::Permissions::from_mode(0o755)).unwrap();
    }
    if let Some(ended) = ended {
        assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{ended:?}");
        assert_eq!(files_below(&parent), [""; 0]);
    }
}

#[test]
fn a_folder_in_the_place_of_a_file_is_not_swept_away() {
    let folder = new_folder();
    fs::create_dir(folder.join("visit-sheet.html")).unwrap();
    fs::write(folder.join("visit-sheet.html/mine"), "mine").unwrap();
    let ended = borewise(&["assess", shown(&visit_of("AB-146")), "--out", shown(&folder)]);
    assert_eq!((ended.code, ended.out.as_str()), (3, ""), "{ended:?}");
    assert_eq!(files_below(&folder), ["visit-sheet.html/mine"]);
}

#[test]
fn a_simulated_visit_is_written_once_with_its_truth_apart() {
    let plan = data().join("demo/plans/tool-hook.plan.toml");
    let out = new_folder().join("visit");
    let ended = borewise(&["simulate", shown(&plan), "--out", shown(&out)]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let visit = ended.out.trim_end();
    assert_eq!(visit, shown(&out.join("AB-146-2026-12-02.visit.toml")));
    let files = files_below(&out);
    assert!(files.contains(&"truth/AB-146-2026-12-02.truth.json".to_owned()), "{files:?}");
    assert_eq!(borewise(&["assess", visit]).code, 1);

    let before: Vec<_> = files.iter().map(|name| fs::read(out.join(name)).unwrap()).collect();
    let again = borewise(&["simulate", shown(&plan), "--out", shown(&out)]);
    assert_eq!((again.code, again.out.as_str()), (3, ""));
    assert!(
        again.err.contains("AB-146.mould.toml") && again.err.contains("choose another folder"),
        "{again:?}"
    );
    let after: Vec<_> = files.iter().map(|name| fs::read(out.join(name)).unwrap()).collect();
    assert_eq!(before, after);

    // One file in the way is enough, even where it is the last one.
    let out = new_folder();
    fs::create_dir(out.join("truth")).unwrap();
    fs::write(out.join("truth/AB-146-2026-12-02.truth.json"), "mine").unwrap();
    assert_eq!(borewise(&["simulate", shown(&plan), "--out", shown(&out)]).code, 3);
    assert_eq!(files_below(&out), ["truth/AB-146-2026-12-02.truth.json"]);
}

#[test]
fn a_broken_plan_is_told_in_full_and_leaves_nothing() {
    let folder = new_folder();
    let plan = folder.join("bad.plan.toml");
    let good = fs::read_to_string(data().join("demo/plans/tool-hook.plan.toml")).unwrap();
    let bad = good.replacen("seed = ", "sed = ", 1).replacen("half = \"fixed\"", "haf = \"fixed\"", 1);
    fs::write(&plan, &bad).unwrap();
    let out = folder.join("out");
    let ended = borewise(&["simulate", shown(&plan), "--out", shown(&out)]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{ended:?}");
    for (key, other) in [("sed = ", "seed"), ("haf = ", "half")] {
        let line = bad.lines().position(|line| line.starts_with(key)).unwrap() + 1;
        let place = format!("bad.plan.toml, line {line}, column 1:");
        let told = ended.err.lines().find(|told| told.starts_with(&place));
        assert!(told.is_some_and(|told| told.contains(&format!("did you mean {other}?"))), "{}", ended.err);
    }
    assert!(!out.exists());

    // A plan that reads well and cannot be played.
    let thick = good.replacen("id = \"AB-146\"", "id = \"../AB-146\"", 1);
    assert_ne!(thick, good);
    fs::write(&plan, thick).unwrap();
    let ended = borewise(&["simulate", shown(&plan), "--out", shown(&out)]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{ended:?}");
    assert!(ended.err.contains("cannot be a file name"), "{ended:?}");
    assert!(!out.exists());

    let ended = borewise(&["simulate", shown(&folder.join("none.toml")), "--out", shown(&out)]);
    assert_eq!(ended.code, 3, "{ended:?}");
}
