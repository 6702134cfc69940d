//! The Linux door, seen by `i2ctransfer` (Debian package i2c-tools), an unmodified program.

use std::fs::{self, File};
use std::path::Path;
use std::process::{Command, Output};

use pagewise_tests::linux_bench::Bench;
use pagewise_tests::tools;

/// One-byte, block-select and two-byte word addresses.
const PARTS: [&str; 3] = ["24lc02b", "24lc16b", "24lc32a"];

trait Bridged {
    fn bridge(&self, options: &[&str], program: &[&str]) -> Output;
    fn i2ctransfer(&self, program: &Path, messages: &[String]) -> Output;
    fn header(&self, offset: usize, data: &[u8]) -> Vec<String>;
}

impl Bridged for Bench {
    /// Runs `pagewise bridge` with this part and its image.
    fn bridge(&self, options: &[&str], program: &[&str]) -> Output {
        bridge(&[&["--chip", &self.chip(), "--device", "/dev/i2c-7"], options].concat(), program)
    }

    /// `i2ctransfer -y 7 MESSAGES`.
    fn i2ctransfer(&self, program: &Path, messages: &[String]) -> Output {
        let mut command = vec![program.to_str().unwrap(), "-y", "7"];
        command.extend(messages.iter().map(String::as_str));
        self.bridge(&[], &command)
    }

    /// Header of an offset as the part expects it, with a length, as `i2ctransfer` takes it.
    fn header(&self, offset: usize, data: &[u8]) -> Vec<String> {
        let width = usize::from(self.card.word_address_bytes.value);
        let block = offset >> (8 * width);
        let mut words = vec![format!("w{}@0x{:02x}", width + data.len(), 0x50 + block)];
        words.extend((0..width).rev().map(|byte| format!("0x{:02x}", offset >> (8 * byte) & 0xFF)));
        words.extend(data.iter().map(|byte| format!("0x{byte:02x}")));
        words
    }
}

fn bridge(options: &[&str], program: &[&str]) -> Output {
    let mut command = Command::new(tools::workspace_programs().join("pagewise"));
    command.arg("bridge").args(options);
    if !program.is_empty() {
        command.arg("--").args(program);
    }
    command.output().unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn bytes(output: &Output) -> Vec<u8> {
    let text = String::from_utf8_lossy(&output.stdout);
    text.split_whitespace().map(|word| u8::from_str_radix(word.trim_start_matches("0x"), 16).unwrap()).collect()
}

#[test]
fn i2ctransfer_writes_a_page_and_another_process_reads_it_back() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    for part in PARTS {
        let bench = Bench::new(part);
        let (page, capacity) = (bench.card.page_bytes.value as usize, bench.card.capacity_bytes.value as usize);
        let offset = capacity - 2 * page;
        let data: Vec<u8> = (0..page as u8).map(|i| i.wrapping_mul(37) ^ 0x5A).collect();
        let wrote = bench.i2ctransfer(&program, &bench.header(offset, &data));
        assert_eq!(wrote.status.code(), Some(0), "{part}: {}", stderr(&wrote));
        let mut expected = vec![0xFF; capacity];
        expected[offset..][..page].copy_from_slice(&data);
        assert_eq!(bench.memory(), expected, "{part}");

        let mut read = bench.header(offset - 1, &[]);
        read.push(format!("r{}", page + 2));
        let back = bench.i2ctransfer(&program, &read);
        assert_eq!(back.status.code(), Some(0), "{part}: {}", stderr(&back));
        assert_eq!(bytes(&back), expected[offset - 1..][..page + 2], "{part}");
        assert!(stderr(&back).contains("no hazard seen"), "{part}");
    }
}

#[test]
fn w1_page_wrap_is_seen_by_the_outside_client_and_named() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    for part in PARTS {
        let bench = Bench::new(part);
        let page = bench.card.page_bytes.value as usize;
        let wrote = bench.i2ctransfer(&program, &bench.header(3 * page - 1, &[0xA1, 0xA2, 0xA3]));
        // The program itself saw no error; the exit code is the detectors'.
        assert_eq!(wrote.status.code(), Some(1), "{part}: {}", stderr(&wrote));
        assert!(stderr(&wrote).contains("page-wrap"), "{part}: {}", stderr(&wrote));
        let memory = bench.memory();
        assert_eq!((memory[3 * page - 1], &memory[2 * page..][..2], memory[3 * page]), (0xA1, &[0xA2, 0xA3][..], 0xFF));
    }
}

#[test]
fn b5_an_address_that_nobody_answers_is_enxio() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    let bench = Bench::new("24lc32a");
    let refused = bench.i2ctransfer(&program, &["r1@0x3c".to_owned()]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(stderr(&refused).contains("No such device or address"), "{}", stderr(&refused));
    let program = program.to_str().unwrap();
    let refused = bench.bridge(&["--nack", "eremoteio"], &[program, "-y", "7", "r1@0x3c"]);
    assert!(stderr(&refused).contains("Remote I/O error"), "{}", stderr(&refused));
}

#[test]
fn trace_and_report_tell_what_went_over_the_bus() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    let bench = Bench::new("24lc32a");
    let trace = bench.folder.path().join("trace.txt");
    let options = ["--trace", trace.to_str().unwrap(), "--virtual-time", "--json"];
    let run = bench.bridge(&options, &[program.to_str().unwrap(), "-y", "7", "w3@0x50", "0x01", "0x02", "0x03"]);
    assert_eq!(run.status.code(), Some(0), "{}", stderr(&run));
    let trace = fs::read_to_string(trace).unwrap();
    assert!(trace.trim_end().ends_with("S 50W+ 01+ 02+ 03+ P"), "{trace}");
    let report: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!((&report["program_exit"], &report["device_opened"]), (&0.into(), &true.into()));
    assert_eq!(report["hazards"], serde_json::json!([]));
}

#[test]
fn two_chips_from_a_card_and_a_model_file_share_a_bus() {
    let Some(program) = tools::need("i2ctransfer", "i2c-tools") else { return };
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let model = Command::new(tools::workspace_programs().join("pagewise"))
        .args(["model", "24lc024", "-o", &path("small.json")])
        .output()
        .unwrap();
    assert!(model.status.success());
    let chips = [format!("24lc32a@0x51={}", path("a.bin")), format!("{}@0x57={}", path("small.json"), path("b.bin"))];
    let options = ["--chip", &chips[0], "--chip", &chips[1], "--device", "/dev/i2c-7"];
    let program = program.to_str().unwrap();
    for message in [&["w3@0x51", "0x00", "0x00", "0x11"][..], &["w2@0x57", "0x00", "0x22"]] {
        let run = bridge(&options, &[&[program, "-y", "7"], message].concat());
        assert_eq!(run.status.code(), Some(0), "{}", stderr(&run));
    }
    assert_eq!((fs::read(path("a.bin")).unwrap()[0], fs::read(path("b.bin")).unwrap()[0]), (0x11, 0x22));
}

#[test]
fn an_image_in_use_by_another_process_is_refused_untouched() {
    let bench = Bench::new("24lc32a");
    fs::write(bench.image(), vec![0x33; 4096]).unwrap();
    let held = File::open(bench.image()).unwrap();
    held.try_lock().unwrap();
    let refused = bench.bridge(&[], &["true"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(stderr(&refused).contains("the image is in use by another process"), "{}", stderr(&refused));
    assert_eq!(bench.memory(), vec![0x33; 4096]);
    drop(held);
    assert_eq!(bench.bridge(&[], &["true"]).status.code(), Some(0));
}

#[test]
fn the_exit_code_is_that_of_the_program() {
    let bench = Bench::new("24lc32a");
    for (code, script) in [(0, "exit 0"), (7, "exit 7"), (143, "kill -TERM $$")] {
        assert_eq!(bench.bridge(&[], &["sh", "-c", script]).status.code(), Some(code), "{script}");
    }
    assert!(stderr(&bench.bridge(&[], &["true"])).contains("the program did not open /dev/i2c-7"));
}

#[test]
fn bad_input_is_one_message_exit_code_2_and_an_untouched_image() {
    let folder = tempfile::tempdir().unwrap();
    let image = folder.path().join("image.bin");
    fs::write(&image, [1, 2, 3]).unwrap();
    let shown = image.to_str().unwrap();
    let model = folder.path().join("broken.json");
    fs::write(&model, "{ \"name\": \"x\" }").unwrap();
    let (with_image, model) = (format!("24lc32a={shown}"), model.to_str().unwrap().to_owned());
    let cases: [(&[&str], &[&str], &str); 9] = [
        (&["--chip", "24lc32a"], &[], "no program to run"),
        (&["--chip", "24lc32a@0x48"], &["true"], "cannot have device address 0x48"),
        (&["--chip", "24lc16b@0x51"], &["true"], "first address is 0x50"),
        (&["--chip", "24lc32a@0x80"], &["true"], "is not a 7-bit device address"),
        (&["--chip", &with_image], &["true"], "the image has 3 bytes, the chip has 4096"),
        (&["--chip", "24lc32a=/nowhere/x.bin"], &["true"], "the image's folder does not exist"),
        (&["--chip", "no-such-part"], &["true"], "no card is called"),
        (&["--chip", &model], &["true"], "no model"),
        (&["--chip", "24lc32a"], &["no-such-program-here"], "cannot be started"),
    ];
    for (options, program, message) in cases {
        let refused = bridge(options, program);
        let text = stderr(&refused);
        assert_eq!(refused.status.code(), Some(2), "{options:?}: {text}");
        assert!(text.contains(message) && text.trim_end().lines().count() == 1, "{options:?}: {text}");
        assert!(refused.stdout.is_empty());
    }
    assert_eq!(fs::read(&image).unwrap(), [1, 2, 3]);
    let (a, b) = (format!("24lc32a@0x50={shown}.new"), format!("24lc32a@0x51={shown}.new"));
    assert!(stderr(&bridge(&["--chip", &a, "--chip", &b], &["true"])).contains("belongs to another chip"));
}
