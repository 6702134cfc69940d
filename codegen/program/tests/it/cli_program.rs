//! What all commands of the program have in common.

use std::process::Stdio;

use crate::cli_support::{command, finished, refused, run};

#[test]
fn the_exit_code_is_two_for_bad_usage() {
    refused_by_usage(&["nonsense"], "unrecognized subcommand 'nonsense'");
    refused_by_usage(&["parts", "--nonsense"], "unexpected argument '--nonsense'");
    refused_by_usage(&["show"], "<PART>");
    refused(&["parts", "--color", "sometimes"], "invalid value 'sometimes'");
}

/// Usage errors show the usage below their message.
fn refused_by_usage(arguments: &[&str], part: &str) {
    let run = run(arguments);
    assert_eq!((run.code, run.out.as_str()), (2, ""), "{arguments:?}");
    assert!(run.err.starts_with("error: ") && run.err.contains(part), "{}", run.err);
}

#[test]
fn help_and_version_are_answers() {
    let help = run(&["--help"]);
    assert_eq!(help.code, 0);
    for word in ["parts", "show", "generate", "--cards", "--json", "--color", "Exit code"] {
        assert!(help.out.contains(word), "{word}: {}", help.out);
    }
    assert_eq!(run(&["--version"]).out, format!("pagewise {}\n", env!("CARGO_PKG_VERSION")));
}

#[test]
fn colour_only_when_wanted() {
    let escape = '\u{1b}';
    let arguments = ["parts", "at24c32"];
    assert!(!run(&arguments).out.contains(escape), "a pipe is not a terminal");
    let with = |more: &[&str]| run(&[&arguments[..], more].concat()).out;
    assert!(with(&["--color", "always"]).contains(escape));
    assert!(!with(&["--color", "never"]).contains(escape));
    assert!(!with(&["--color", "always", "--json"]).contains(escape));
    let painted = with(&["--color", "always"]);
    assert_eq!(anstream::adapter::strip_str(&painted).to_string(), run(&arguments).out);
}

/// `script` gives the program a terminal.
#[cfg(target_os = "linux")]
#[test]
fn a_terminal_gets_colour_unless_no_color_is_set() {
    let program = env!("CARGO_BIN_EXE_pagewise");
    let on_terminal = |no_color: Option<&str>| {
        let mut script = std::process::Command::new("script");
        script.args(["-qec", &format!("{program} parts at24c32"), "/dev/null"]);
        script.env("TERM", "xterm").env_remove("NO_COLOR").stdin(Stdio::null());
        if let Some(value) = no_color {
            script.env("NO_COLOR", value);
        }
        finished(script.output().expect("script (util-linux) is installed")).out
    };
    assert!(on_terminal(None).contains('\u{1b}'));
    assert!(!on_terminal(Some("1")).contains('\u{1b}'));
}

#[test]
fn a_reader_that_stops_early_is_no_error() {
    // Far more than a pipe holds, so the program is still writing when the reader goes away.
    let mut child = command(&["parts", "--json"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let run = finished(child.wait_with_output().unwrap());
    assert_eq!((run.code, run.err.as_str()), (0, ""));
}

#[test]
fn faults_are_told_to_programs_too() {
    let run = run(&["show", "no-such-part", "--json"]);
    assert_eq!(run.code, 2);
    let json = run.json();
    assert_eq!(json["pagewise"], env!("CARGO_PKG_VERSION"));
    assert_eq!(json["command"], "show");
    assert_eq!(json["faults"][0]["file"], "command line");
    assert_eq!(run.err.lines().count(), 1, "{}", run.err);
}

#[test]
fn the_json_shape_is_stable() {
    let keys = |arguments: &[&str]| {
        let json = run(arguments).json();
        let mut keys: Vec<String> = json.as_object().unwrap().keys().cloned().collect();
        keys.sort_unstable();
        keys.join(" ")
    };
    assert_eq!(keys(&["parts", "--json"]), "command count of pagewise parts");
    assert_eq!(
        keys(&["show", "at24c32e", "--json"]),
        "anatomy answers card command device_address package package_listed pagewise pins_high"
    );
    assert_eq!(
        keys(&["generate", "at24c32e", "--json"]),
        "assumptions cards command costs digest files language limits not_safe_on pagewise"
    );
}
