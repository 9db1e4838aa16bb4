//! Points files: one point a line, `x,y` or `x,y,z`, with headings or without, perhaps with a feature's name in front, a
//! direction `i,j,k` behind and a column `unit`. A heading may carry the unit: `x [mm]`.

use std::fmt;
use std::io::Read;
use std::path::Path;

use anyhow::{Context, bail};

use super::Streams;
use crate::units::LengthUnit;

/// Largest file that is taken in, in bytes: a million points have less than half of it.
const MAX_INPUT: u64 = 128 * 1024 * 1024;
/// How many problems of a file are told.
const TOLD: usize = 20;

/// A column that is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Feature,
    /// x, y, z, i, j, k.
    Number(usize),
    Unit,
    Other,
}

/// A line of a points file.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Name of the feature, where the file has one.
    pub feature: Option<String>,
    /// x, y, z, i, j, k, as far as the file has them.
    numbers: [Option<f64>; 6],
    /// Unit of the coordinates, where the file says it; all points of a file have the same.
    pub unit: Option<LengthUnit>,
}

impl Point {
    /// In the plane.
    #[must_use]
    pub fn plane(&self) -> Option<[f64; 2]> {
        let [x, y, ..] = self.numbers;
        Some([x?, y?])
    }

    /// In space, where the file has z.
    #[must_use]
    pub fn space(&self) -> Option<[f64; 3]> {
        let [x, y, z, ..] = self.numbers;
        Some([x?, y?, z?])
    }

    /// Its direction, where the file has one.
    #[must_use]
    pub fn direction(&self) -> Option<[f64; 3]> {
        let [_, _, _, i, j, k] = self.numbers;
        Some([i?, j?, k?])
    }
}

/// What is wrong with a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    line: usize,
    /// Value in the line, from one.
    column: usize,
    message: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, column {}: {}", self.line, self.column, self.message)
    }
}

/// All bytes of a file, or of standard input for `-`.
pub(super) fn take_in(path: &Path, streams: &mut Streams<'_>) -> anyhow::Result<String> {
    let mut bytes = Vec::new();
    let read = if path == Path::new("-") {
        streams.input.by_ref().take(MAX_INPUT + 1).read_to_end(&mut bytes)
    } else {
        std::fs::File::open(path).and_then(|file| file.take(MAX_INPUT + 1).read_to_end(&mut bytes))
    };
    let name = path.display();
    let size = read.with_context(|| format!("{name} cannot be read. Check the name and that it is a file."))?;
    if u64::try_from(size).is_ok_and(|size| size > MAX_INPUT) {
        bail!("{name}: larger than {} MB, which is the limit", MAX_INPUT / 1024 / 1024);
    }
    String::from_utf8(bytes).map_err(|error| {
        let good = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = good.iter().filter(|&&byte| byte == b'\n').count() + 1;
        anyhow::anyhow!("{name}: line {line}: not UTF-8 text. Save the file as UTF-8.")
    })
}

/// Reads points. Every line at fault is told, up to a limit.
pub(super) fn read(path: &Path, streams: &mut Streams<'_>) -> anyhow::Result<Vec<Point>> {
    let text = take_in(path, streams)?;
    parse(&text).map_err(|problems| {
        let name = path.display();
        let mut told: Vec<String> = problems
            .iter()
            .take(TOLD)
            .map(|problem| format!("{name}: {problem}"))
            .collect();
        if problems.len() > TOLD {
            told.push(format!("{name}: and {} more like these", problems.len() - TOLD));
        }
        anyhow::anyhow!("{}", told.join("\n"))
    })
}

/// Reads the points of a file's text.
///
/// # Errors
/// All that is wrong with it, each with its place.
pub fn parse(text: &str) -> Result<Vec<Point>, Vec<Problem>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let blank = |line: &str| line.chars().all(|c| c.is_whitespace() || matches!(c, ',' | ';'));
    let lines = text.lines().enumerate().filter(|(_, line)| !blank(line));
    let mut columns: Vec<Column> = Vec::new();
    // The file's unit, and the line that says it first.
    let mut unit: Option<(LengthUnit, usize)> = None;
    let mut delimiter = None;
    let mut points = Vec::new();
    let mut problems = Vec::new();
    for (index, content) in lines {
        let line = index + 1;
        let delimiter = *delimiter.get_or_insert_with(|| delimiter_of(content));
        let cells = split(content, delimiter);
        if columns.is_empty() {
            let headings = cells.iter().all(|cell| number(cell, delimiter).is_none());
            columns = if headings {
                unit = unit_of_headings(&cells, line)?;
                named(&cells, line)?
            } else {
                counted(&cells, delimiter, line)?
            };
            if headings {
                continue;
            }
        }
        match point(&cells, &columns, delimiter, line) {
            Ok(point) => match one_unit(&point, &columns, &mut unit, line) {
                Some(problem) => problems.push(problem),
                None => points.push(point),
            },
            Err(problem) => problems.push(problem),
        }
    }
    let unit = unit.map(|(unit, _)| unit);
    points.iter_mut().for_each(|point: &mut Point| point.unit = unit);
    if problems.is_empty() { Ok(points) } else { Err(problems) }
}

/// `None` is any run of blanks.
fn delimiter_of(line: &str) -> Option<char> {
    [';', '\t', ','].into_iter().find(|&delimiter| line.contains(delimiter))
}

fn split(line: &str, delimiter: Option<char>) -> Vec<&str> {
    fn clean(cell: &str) -> &str {
        let cell = cell.trim();
        cell.strip_prefix('"')
            .and_then(|rest| rest.strip_suffix('"'))
            .unwrap_or(cell)
    }
    match delimiter {
        Some(delimiter) => line.split(delimiter).map(clean).collect(),
        None => line.split_whitespace().collect(),
    }
}

/// A number, with a decimal comma too where commas do not part the values.
fn number(cell: &str, delimiter: Option<char>) -> Option<f64> {
    if delimiter != Some(',') && cell.contains(',') && !cell.contains('.') {
        return cell.replacen(',', ".", 1).parse().ok();
    }
    cell.parse().ok()
}

/// What is wrong with a point whose unit is not that of the file.
fn one_unit(point: &Point, columns: &[Column], file: &mut Option<(LengthUnit, usize)>, line: usize) -> Option<Problem> {
    let here = point.unit?;
    let (unit, first) = *file.get_or_insert((here, line));
    (unit != here).then(|| Problem {
        line,
        column: columns.iter().position(|c| *c == Column::Unit).unwrap_or_default() + 1,
        message: format!(
            "{here} where line {first} says {unit}: one file has points in one unit; convert these, or fit them apart"
        ),
    })
}

/// The unit in the headings of coordinates, `x [mm]`, where they carry one.
fn unit_of_headings(cells: &[&str], line: usize) -> Result<Option<(LengthUnit, usize)>, Vec<Problem>> {
    let mut found: Option<(LengthUnit, usize)> = None;
    for (index, cell) in cells.iter().enumerate() {
        let Some(word) = heading(cell).1 else { continue };
        let problem = |message: String| {
            vec![Problem {
                line,
                column: index + 1,
                message,
            }]
        };
        let unit = word.parse::<LengthUnit>().map_err(|error| problem(error.to_string()))?;
        let (first, _) = *found.get_or_insert((unit, line));
        if first != unit {
            return Err(problem(format!(
                "{unit} where the headings before say {first}: all coordinates are in one unit"
            )));
        }
    }
    Ok(found)
}

/// Name and unit of a heading such as `X [mm]` or `x (inch)`.
fn heading(cell: &str) -> (String, Option<&str>) {
    let bracketed = |open: char, close: char| {
        let (name, rest) = cell.split_once(open)?;
        Some((name.trim(), rest.trim().strip_suffix(close)?.trim()))
    };
    match bracketed('[', ']').or_else(|| bracketed('(', ')')) {
        Some((name, unit)) if NAMES[..3].contains(&name.to_ascii_lowercase().as_str()) => {
            (name.to_ascii_lowercase(), Some(unit))
        }
        _ => (cell.to_ascii_lowercase(), None),
    }
}

const NAMES: [&str; 6] = ["x", "y", "z", "i", "j", "k"];

fn named(cells: &[&str], line: usize) -> Result<Vec<Column>, Vec<Problem>> {
    let column = |cell: &&str| {
        let (name, _) = heading(cell);
        let place = NAMES.iter().position(|known| *known == name);
        match place {
            Some(place) => Column::Number(place),
            None if name == "feature" => Column::Feature,
            None if name == "unit" || name == "units" => Column::Unit,
            None => Column::Other,
        }
    };
    let columns: Vec<Column> = cells.iter().map(column).collect();
    for place in [0, 1] {
        if !columns.contains(&Column::Number(place)) {
            let message = format!(
                "no heading `{}`: a points file has x,y or x,y,z, headings or none",
                NAMES[place]
            );
            return Err(vec![Problem {
                line,
                column: 1,
                message,
            }]);
        }
    }
    Ok(columns)
}

/// Columns of a file without headings, by how many there are.
fn counted(cells: &[&str], delimiter: Option<char>, line: usize) -> Result<Vec<Column>, Vec<Problem>> {
    let first_is_name = cells.first().is_some_and(|cell| number(cell, delimiter).is_none());
    let numbers = cells.len() - usize::from(first_is_name);
    if ![2, 3, 6].contains(&numbers) {
        let message =
            format!("{numbers} values: a line has x,y or x,y,z, or x,y,z,i,j,k, after a feature's name or not");
        return Err(vec![Problem {
            line,
            column: cells.len(),
            message,
        }]);
    }
    let name = first_is_name.then_some(Column::Feature);
    Ok(name.into_iter().chain((0..numbers).map(Column::Number)).collect())
}

fn point(cells: &[&str], columns: &[Column], delimiter: Option<char>, line: usize) -> Result<Point, Problem> {
    if cells.len() != columns.len() {
        let cause = if cells.len() < columns.len() {
            "the line is torn, or a value is missing"
        } else {
            "two lines run together, or a delimiter is too many"
        };
        let message = format!(
            "{} values where the lines before have {}: {cause}",
            cells.len(),
            columns.len()
        );
        return Err(Problem {
            line,
            column: cells.len().min(columns.len() + 1),
            message,
        });
    }
    let mut point = Point {
        feature: None,
        numbers: [None; 6],
        unit: None,
    };
    for (index, (cell, column)) in cells.iter().zip(columns).enumerate() {
        match column {
            Column::Feature => point.feature = Some((*cell).to_owned()),
            // A direction may be missing, a coordinate may not.
            Column::Number(3..) if cell.is_empty() => {}
            Column::Number(place) => {
                let value = number(cell, delimiter).filter(|value| value.is_finite());
                let value = value.ok_or_else(|| Problem {
                    line,
                    column: index + 1,
                    message: not_a_number(cell),
                })?;
                point.numbers[*place] = Some(value);
            }
            // Most lines leave to the first what all of them share.
            Column::Unit if cell.is_empty() => {}
            Column::Unit => {
                let unit = cell.parse::<LengthUnit>().map_err(|error| Problem {
                    line,
                    column: index + 1,
                    message: error.to_string(),
                })?;
                point.unit = Some(unit);
            }
            Column::Other => {}
        }
    }
    Ok(point)
}

fn not_a_number(cell: &str) -> String {
    // Terminals take some characters for commands.
    let shown: String = cell.chars().filter(|c| !c.is_control()).take(40).collect();
    let starts = cell.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.'));
    if cell.is_empty() {
        "no value: every point needs all its coordinates".to_owned()
    } else if starts && cell.ends_with(|c: char| c.is_alphabetic()) {
        format!("`{shown}` carries a unit: give all coordinates in one unit, as plain numbers")
    } else {
        format!("`{shown}` is not a finite number")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expected: &[[f64; 3]]) {
        let points = parse(text).unwrap();
        let found: Vec<[f64; 3]> = points.iter().map(|p| p.space().unwrap()).collect();
        assert_eq!(found, expected, "{text}");
    }

    #[test]
    fn ways_to_write_points() {
        let expected = [[1.5, 2.0, 3.0], [-4.0, 5.0, 6.25]];
        check("1.5,2,3\n-4,5,6.25\n", &expected);
        check("x,y,z\n1.5,2,3\n-4,5,6.25", &expected);
        check("\u{feff}X;Y;Z\r\n1,5;2;3\r\n\r\n-4;5;6,25\r\n", &expected);
        check("1.5 2 3\n -4   5 6.25\n\n", &expected);
        check("1.5\t2\t3\n-4\t5\t6.25\n", &expected);
        check("\"x\",\"y\",\"z\"\n\"1.5\",\"2\",\"3\"\n-4,5,6.25\n", &expected);
        check("z,note,y,x\n3,a,2,1.5\n6.25,b,5,-4\n", &expected);
        check("A,1.5,2,3\nB,-4,5,6.25\n", &expected);
        check("feature,x,y,z,i,j,k\nA,1.5,2,3,0,0,1\nB,-4,5,6.25,,,\n", &expected);
    }

    #[test]
    fn features_and_directions() {
        let points = parse("feature,x,y,z,i,j,k\nA,1,2,3,0,0,1\nbore,4,5,6,,,\n").unwrap();
        assert_eq!(points[0].direction(), Some([0.0, 0.0, 1.0]));
        assert_eq!(
            (points[1].direction(), points[1].feature.as_deref()),
            (None, Some("bore"))
        );
    }

    #[test]
    fn units_are_read_and_never_mixed() {
        let unit = |text: &str| parse(text).unwrap()[0].unit;
        assert_eq!(unit("x,y,unit\n1,2,mm\n3,4,\n5,6,mm\n"), Some(LengthUnit::Mm));
        assert_eq!(unit("x [inch],y [inch]\n1,2\n"), Some(LengthUnit::Inch));
        assert_eq!(unit("x,y\n1,2\n"), None);
        let told = |text: &str| parse(text).unwrap_err()[0].to_string();
        insta::assert_snapshot!(told("x,y,unit\n1,2,mm\n3,4,mm\n5,6,inch\n"), @"line 4, column 3: inch where line 2 says mm: one file has points in one unit; convert these, or fit them apart");
        insta::assert_snapshot!(told("x,y,unit\n1,2,cubit\n"), @r#"line 2, column 3: the unit is "cubit"; write mm or inch"#);
        insta::assert_snapshot!(told("x [mm],y [inch]\n1,2\n"), @"line 1, column 2: inch where the headings before say mm: all coordinates are in one unit");
    }

    #[test]
    fn every_fault_is_told_with_its_place() {
        let told = |text: &str| {
            parse(text)
                .unwrap_err()
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join("\n")
        };
        insta::assert_snapshot!(told("x,y\n1,2\n3\n4,5 mm\n6,nan\n7,\n8,9,10\n"), @r#"
        line 3, column 1: 1 values where the lines before have 2: the line is torn, or a value is missing
        line 4, column 2: `5 mm` carries a unit: give all coordinates in one unit, as plain numbers
        line 5, column 2: `nan` is not a finite number
        line 6, column 2: no value: every point needs all its coordinates
        line 7, column 3: 3 values where the lines before have 2: two lines run together, or a delimiter is too many
        "#);
        insta::assert_snapshot!(told("a,b\n1,2\n"), @"line 1, column 1: no heading `x`: a points file has x,y or x,y,z, headings or none");
        insta::assert_snapshot!(told("1,2,3,4\n"), @"line 1, column 4: 4 values: a line has x,y or x,y,z, or x,y,z,i,j,k, after a feature's name or not");
    }
}
