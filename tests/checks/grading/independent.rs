//! Reports that a second program made, written from the pages alone, graded as a class's folder is: `--serials` and
//! `--json`. See `tests/data/diagnosis/independent/`.

use std::collections::BTreeMap;

use serde_json::Value;

const REPORTS: &str = include_str!("../../data/diagnosis/independent/reports.json");

/// The answers to all reports of one exercise, in order.
fn answers(of: &Value) -> Vec<Value> {
    let text = |key: &str| of[key].as_str().unwrap();
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(text("exercise"));
    let file = |name: &str| std::fs::read_to_string(folder.join(name)).unwrap();
    let mut serials = String::from("report,serial\n");
    let mut files: Vec<(String, String)> = Vec::new();
    for (i, report) in of["reports"].as_array().unwrap().iter().enumerate() {
        let name = format!("r{i:03}.csv");
        serials.push_str(&format!("{name},{}\n", report["serial"].as_str().unwrap()));
        let values = report["values"].as_str().unwrap().split(';');
        let rows = text("numbers").split(';').zip(values);
        let rows: Vec<String> = rows.map(|(no, value)| format!("{no},{value},")).collect();
        files.push((name, format!("no,measured,call\n{}\n", rows.join("\n"))));
    }
    let mut given: Vec<(&str, &[u8])> = vec![("serials.csv", serials.as_bytes())];
    given.extend(files.iter().map(|(name, text)| (name.as_str(), text.as_bytes())));
    let options = ["--serials", "FOLDER/serials.csv", "--json", "--decimal", "."];
    let unit = if file("exercise.toml").contains("\"inch\"") {
        "inch"
    } else {
        "mm"
    };
    let options: Vec<&str> = options.iter().copied().chain(["--unit", unit]).collect();
    super::command(&file("exercise.toml"), &file("plates.toml"), &options, &given).grades()
}

/// Whether a list of faults is the true one: codes, parameters, and amounts within what the second program allows.
fn is(truth: &[Value], said: &Value) -> bool {
    let said = said.as_array().unwrap();
    let same = |t: &Value, s: &Value| {
        let near = t["within"].as_f64().unwrap_or(1e-6);
        let alike = |(key, wanted): (&String, &Value)| {
            // Runs may end on lines that they do not change; a gross error is named, not measured.
            if key == "items" || t["fault"] == "gross-error" && key == "amount" {
                return true;
            }
            let given = &s["parameters"][key];
            match (wanted.as_f64(), given.as_f64()) {
                (Some(a), Some(b)) => (a - b).abs() <= near,
                _ => wanted == given,
            }
        };
        t["fault"] == s["fault"] && t["parameters"].as_object().unwrap().iter().all(alike)
    };
    said.len() == truth.len() && truth.iter().all(|t| said.iter().any(|s| same(t, s)))
}

/// What an answer is worth.
fn judged(truth: &[Value], diagnosis: &Value) -> &'static str {
    let others = diagnosis["alternatives"].as_array().unwrap();
    let beside = others.iter().any(|o| is(truth, &o["faults"]));
    let right = is(truth, &diagnosis["faults"]);
    let joint = diagnosis["probability"].as_f64().unwrap_or(0.0) >= 0.90;
    match diagnosis["state"].as_str().unwrap() {
        "fault-stated" if right => "right",
        "fault-stated" if beside => "named beside",
        "fault-stated" => "wrong",
        "fault-suspected" if joint && (right || beside) => "named together",
        other if other == "clean" && truth.is_empty() => "right",
        "clean" => "clean",
        _ => "open",
    }
}

#[test]
fn reports_of_a_second_program_are_told() {
    let all: Vec<Value> = serde_json::from_str(REPORTS).unwrap();
    let of_exercise = |of: &Value| {
        let mut counts: BTreeMap<(usize, &'static str), u32> = BTreeMap::new();
        let mut told = Vec::new();
        for (report, answer) in of["reports"].as_array().unwrap().iter().zip(answers(of)) {
            let truth = report["faults"].as_array().unwrap();
            let worth = judged(truth, &answer["diagnosis"]);
            *counts.entry((truth.len(), worth)).or_default() += 1;
            if worth != "right" {
                told.push(format!("{worth}: {report}\n  {}", answer["diagnosis"]));
            }
        }
        (counts, told)
    };
    let done: Vec<_> = std::thread::scope(|scope| {
        let threads: Vec<_> = all.iter().map(|of| scope.spawn(move || of_exercise(of))).collect();
        threads.into_iter().map(|t| t.join().unwrap()).collect()
    });
    let sum = |faults: usize, worth: &[&str]| -> u32 {
        let all = done.iter().flat_map(|(counts, _)| counts);
        all.filter(|((n, w), _)| *n == faults && (worth.is_empty() || worth.contains(w)))
            .map(|(_, n)| n)
            .sum()
    };
    let told: Vec<&str> = done.iter().flat_map(|(_, told)| told).map(String::as_str).collect();
    let told = told.join("\n");
    // Source: the goals of the project's page of diagnosis, as whole reports of so few: no clean one accused; of others 99, 97
    // and 95 % right, each less two; wrongly stated none of one fault, and two of all.
    let good = ["right", "named beside", "named together"];
    for (faults, reports, least) in [(0, 60, 60), (1, 130, 128), (2, 84, 79), (3, 18, 15)] {
        assert!(sum(faults, &[]) >= reports, "{faults}: {}", sum(faults, &[]));
        let missed = sum(faults, &[]) - sum(faults, &good);
        assert!(missed <= reports - least, "{faults} faults, {missed} not told:\n{told}");
    }
    assert_eq!(sum(0, &["wrong"]), 0, "{told}");
    assert_eq!(sum(1, &["wrong"]), 0, "{told}");
    let wrong = sum(2, &["wrong"]) + sum(3, &["wrong"]);
    assert!(wrong <= 2, "{wrong} wrongly stated:\n{told}");
}
