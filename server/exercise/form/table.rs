//! The print's table of balloons, pasted from a spreadsheet: which column is what, and what goes where in the form.

use super::number::in_file;
use super::propose::fields;
use super::schema::BETWEEN_QUANTITIES;
use super::words::{asked, deviations, nominal, tolerance};
use super::{Fields, Form, Part, text};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// Nothing that is taken.
    Left,
    /// Balloon number.
    Number,
    /// What is asked: quantity and feature in words.
    What,
    /// The feature's name alone.
    Feature,
    /// Nominal value.
    Nominal,
    /// Tolerance.
    Tolerance,
    /// Upper deviation.
    Upper,
    /// Lower deviation.
    Lower,
    /// Letter of a datum.
    Datum,
}

impl Column {
    /// All, with a word for files and one for people.
    pub const ALL: [(&'static str, &'static str, Self); 9] = [
        ("left", "leave out", Self::Left),
        ("no", "number", Self::Number),
        ("what", "what is asked", Self::What),
        ("feature", "feature", Self::Feature),
        ("nominal", "nominal", Self::Nominal),
        ("tolerance", "tolerance", Self::Tolerance),
        ("upper", "upper deviation", Self::Upper),
        ("lower", "lower deviation", Self::Lower),
        ("datum", "datum", Self::Datum),
    ];

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|(_, _, c)| *c == self).map_or("", |(w, ..)| w)
    }

    /// From its word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().find(|(w, ..)| *w == word).map(|(.., c)| *c)
    }
}

/// Headings that columns have, in lower case.
const HEADINGS: [(Column, &[&str]); 8] = [
    (
        Column::Number,
        &[
            "no",
            "no.",
            "number",
            "nr",
            "nr.",
            "#",
            "balloon",
            "item",
            "pos.",
            "char",
            "characteristic no",
        ],
    ),
    (
        Column::What,
        &[
            "what",
            "characteristic",
            "description",
            "quantity",
            "requirement",
            "of",
            "type",
            "dimension type",
        ],
    ),
    (Column::Feature, &["feature", "name", "feature name", "element"]),
    (
        Column::Nominal,
        &["nominal", "dimension", "size", "value", "nominal value", "nom", "nom."],
    ),
    (Column::Tolerance, &["tolerance", "tol", "tol.", "fit", "+/-", "±"]),
    (
        Column::Upper,
        &[
            "upper",
            "plus",
            "+",
            "upper tolerance",
            "upper deviation",
            "tol+",
            "tol +",
        ],
    ),
    (
        Column::Lower,
        &[
            "lower",
            "minus",
            "-",
            "lower tolerance",
            "lower deviation",
            "tol-",
            "tol -",
        ],
    ),
    (Column::Datum, &["datum", "datums", "ref", "reference"]),
];

/// A pasted table as it was understood.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pasted {
    /// What parts the cells, for people.
    pub parted_by: &'static str,
    /// The row of headings, where there is one.
    pub heading: Option<Vec<String>>,
    /// What each column holds.
    pub columns: Vec<Column>,
    /// Whether commas in figures were read as decimal marks.
    pub decimal_comma: bool,
    /// The rows below the heading.
    pub rows: Vec<Row>,
}

/// One row.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Row {
    /// Line of what was pasted, from 1.
    pub line: usize,
    /// Balloon number.
    pub no: String,
    /// Quantity; empty where it could not be told.
    pub of: String,
    /// Feature, or both features with " to " between.
    pub name: String,
    /// Nominal.
    pub nominal: String,
    /// Tolerance as the form has it.
    pub tolerance: String,
    /// Datum.
    pub datum: String,
    /// What had to be understood, or could not be.
    pub remark: String,
}

/// Rows that are read at most.
const MOST: usize = 500;

const DELIMITERS: [(char, &str); 4] = [('\t', "tabs"), (';', "semicolons"), ('|', "strokes"), (',', "commas")];

/// Cells of all lines that are not empty, with their line numbers, and what parts them.
fn cells(pasted: &str) -> (Vec<(usize, Vec<String>)>, &'static str) {
    let lines: Vec<(usize, &str)> = pasted
        .lines()
        .enumerate()
        .filter(|(_, l)| !l.trim().is_empty())
        .take(MOST)
        .collect();
    let parted = |d: char| lines.iter().filter(|(_, l)| l.contains(d)).count() * 10 >= lines.len() * 9;
    let found = DELIMITERS.into_iter().find(|(d, _)| !lines.is_empty() && parted(*d));
    let split = |line: &str| match found {
        Some((d, _)) => quoted_cells(line, d),
        // Columns of blanks: two and more.
        None => line
            .split("  ")
            .map(|c| c.trim().to_owned())
            .filter(|c| !c.is_empty())
            .collect(),
    };
    let rows = lines.iter().map(|(i, l)| (i + 1, split(l))).collect();
    (rows, found.map_or("two blanks and more", |(_, words)| words))
}

/// Cells of a line; a cell in quotes may hold the delimiter (RFC 4180, 2.6).
fn quoted_cells(line: &str, delimiter: char) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut inside = false;
    for c in line.chars() {
        match c {
            '"' => inside = !inside,
            c if c == delimiter && !inside => cells.push(String::new()),
            c => {
                if let Some(cell) = cells.last_mut() {
                    cell.push(c);
                }
            }
        }
    }
    cells.into_iter().map(|c| c.trim().to_owned()).collect()
}

fn heading_of(cell: &str) -> Option<Column> {
    let low = cell.trim().to_lowercase();
    HEADINGS
        .iter()
        .find(|(_, words)| words.contains(&low.as_str()))
        .map(|(c, _)| *c)
}

/// Reads what was pasted. `columns` says what each column holds, where the author has said so.
#[must_use]
pub fn read_table(pasted: &str, columns: &[Option<Column>]) -> Pasted {
    let (mut rows, parted_by) = cells(pasted);
    let known = |row: &[String]| row.iter().filter(|c| heading_of(c).is_some()).count();
    let heading = rows
        .first()
        .filter(|(_, row)| known(row) >= 2)
        .map(|(_, row)| row.clone());
    if heading.is_some() {
        rows.remove(0);
    }
    let width = rows.iter().map(|(_, r)| r.len()).max().unwrap_or(0);
    let usual = [
        Column::Number,
        Column::What,
        Column::Nominal,
        Column::Tolerance,
        Column::Datum,
    ];
    let guess = |i: usize| match &heading {
        Some(words) => words.get(i).and_then(|w| heading_of(w)).unwrap_or(Column::Left),
        None => usual.get(i).copied().unwrap_or(Column::Left),
    };
    let columns: Vec<Column> = (0..width)
        .map(|i| columns.get(i).copied().flatten().unwrap_or_else(|| guess(i)))
        .collect();
    let decimal_comma = parted_by != "commas" && has_decimal_comma(&rows, &columns);
    let rows = rows
        .iter()
        .map(|(line, cells)| row(*line, cells, &columns, decimal_comma))
        .collect();
    Pasted {
        parted_by,
        heading,
        columns,
        decimal_comma,
        rows,
    }
}

/// Whether figures have commas and none has a point.
fn has_decimal_comma(rows: &[(usize, Vec<String>)], columns: &[Column]) -> bool {
    let figures = rows
        .iter()
        .flat_map(|(_, cells)| cells.iter().zip(columns))
        .filter(|(_, c)| matches!(c, Column::Nominal | Column::Tolerance | Column::Upper | Column::Lower));
    let all: Vec<&str> = figures.map(|(cell, _)| cell.as_str()).collect();
    let between = |cell: &str, mark: char| {
        let bytes: Vec<char> = cell.chars().collect();
        bytes
            .windows(3)
            .any(|w| w[0].is_ascii_digit() && w[1] == mark && w[2].is_ascii_digit())
    };
    all.iter().any(|c| between(c, ',')) && !all.iter().any(|c| between(c, '.'))
}

fn row(line: usize, cells: &[String], columns: &[Column], decimal_comma: bool) -> Row {
    let cell = |wanted: Column| {
        let at = columns.iter().position(|c| *c == wanted);
        at.and_then(|i| cells.get(i)).map_or("", String::as_str)
    };
    let figure = |wanted: Column| {
        let text = cell(wanted).to_owned();
        if decimal_comma { text.replace(',', ".") } else { text }
    };
    let mut remarks = Vec::new();
    let mut understood = asked(cell(Column::What));
    let mut datum = cell(Column::Datum).trim().to_owned();
    if let Some((name, letter)) = to_a_datum(&understood)
        && datum.is_empty()
    {
        datum = letter;
        understood.name = name;
    }
    let feature = cell(Column::Feature).trim();
    let name = if feature.is_empty() {
        understood.name
    } else {
        feature.to_owned()
    };
    let (number, behind, diameter) = nominal(&figure(Column::Nominal));
    let of = understood.of.or(if diameter { Some("diameter") } else { None });
    let given = deviations(&figure(Column::Upper), &figure(Column::Lower));
    let given = if given.is_empty() {
        figure(Column::Tolerance)
    } else {
        given
    };
    let given = if given.trim().is_empty() { behind.clone() } else { given };
    let (tolerance, understood_as) = tolerance(&given, of);
    remarks.extend(Some(understood_as).filter(|r| !r.is_empty()));
    if of.is_none() {
        remarks.push("what is measured could not be told; choose the quantity in the form".to_owned());
    }
    if !number.is_empty() && in_file(&number).is_none() {
        remarks.push(format!("{number} is no number"));
    }
    if name.is_empty() {
        remarks.push("no feature is named".to_owned());
    } else if of.is_some_and(|of| of == "distance" || of == "coaxiality") && two_names(&name).is_none() {
        remarks.push("it lies between two features; name both, as in Top to Step distance".to_owned());
    }
    Row {
        line,
        no: cell(Column::Number).trim().to_owned(),
        of: of.unwrap_or("").to_owned(),
        name,
        nominal: number,
        tolerance,
        datum,
        remark: remarks.join("; "),
    }
}

/// The feature and the letter of `Step wall to B`, where the quantity is one to a datum.
fn to_a_datum(asked: &super::words::Asked) -> Option<(String, String)> {
    let to_datum = matches!(asked.of, Some("angle" | "parallelism" | "perpendicularity"));
    let (name, letter) = asked.name.rsplit_once(" to ").filter(|_| to_datum)?;
    let one_capital = letter.len() == 1 && letter.chars().all(|c| c.is_ascii_uppercase());
    one_capital.then(|| (name.to_owned(), letter.to_owned()))
}

/// Where a row goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Goes {
    /// To a characteristic that has the number already.
    Again,
    /// To a feature that is there.
    To(String),
    /// To a feature that is made of this and its like.
    New(String),
    /// Between two features.
    Between(String, String),
}

impl Form {
    /// Where each row would go.
    #[must_use]
    pub fn where_to(&self, pasted: &Pasted) -> Vec<Goes> {
        pasted.rows.iter().map(|row| self.goes(row)).collect()
    }

    fn goes(&self, row: &Row) -> Goes {
        if self.where_it_stands(row).is_some_and(|owner| owner.is_none()) {
            return Goes::Again;
        }
        if BETWEEN_QUANTITIES.contains(&row.of.as_str())
            && let Some((a, b)) = two_names(&row.name)
        {
            return Goes::Between(a.to_owned(), b.to_owned());
        }
        let name = row_name(row);
        match self.named(&name) {
            Some(_) => Goes::To(name),
            None => Goes::New(name),
        }
    }

    /// Where the number of a row stands already: `Some(None)` at what the row names, `Some(Some(name))` elsewhere.
    fn where_it_stands(&self, row: &Row) -> Option<Option<String>> {
        let has = |p: &&Part| !row.no.is_empty() && p.characteristics.iter().any(|c| text(c, "no") == row.no);
        let feature = self.features.iter().find(has).map(Part::name);
        let pair = || self.between.iter().find(has).map(|p| self.pair_name(p));
        let owner = feature.or_else(pair)?;
        Some(Some(owner).filter(|owner| !row.name.is_empty() && !same(owner, &row.name)))
    }

    /// From where each row's number is taken away, because the row names something else now.
    #[must_use]
    pub fn taken_from(&self, pasted: &Pasted) -> Vec<Option<String>> {
        pasted
            .rows
            .iter()
            .map(|row| self.where_it_stands(row).flatten())
            .collect()
    }

    /// Takes a number out of where it stands, and what then says nothing any more.
    fn take_away(&mut self, no: &str) {
        for part in self.features.iter_mut().chain(&mut self.between) {
            part.characteristics.retain(|c| text(c, "no") != no);
        }
        let placed = |p: &Part| {
            ["at", "from", "to", "size"]
                .iter()
                .any(|key| !p.text(key).trim().is_empty())
        };
        self.between.retain(|p| !p.characteristics.is_empty());
        let ends: Vec<String> = self
            .between
            .iter()
            .flat_map(|p| [p.text("first").to_owned(), p.text("second").to_owned()])
            .collect();
        self.features
            .retain(|p| !p.characteristics.is_empty() || placed(p) || ends.iter().any(|end| end == p.text("key")));
    }

    /// The feature with this name or key, however it is capitalised.
    fn named(&self, name: &str) -> Option<usize> {
        self.features
            .iter()
            .position(|f| same(&f.name(), name) || same(f.text("key"), name))
    }

    /// Puts all rows in; gives how many.
    pub fn put_table(&mut self, pasted: &Pasted) -> usize {
        for (row, from) in pasted.rows.iter().zip(self.taken_from(pasted)) {
            if from.is_some() {
                self.take_away(&row.no);
            }
        }
        for (row, goes) in pasted.rows.iter().zip(self.where_to(pasted)) {
            match goes {
                Goes::Again => self.again(row),
                Goes::To(name) | Goes::New(name) => self.put_to_feature(&name, row, pasted),
                Goes::Between(..) => {}
            }
        }
        // Only now all features are there.
        for row in &pasted.rows {
            if let Goes::Between(a, b) = self.goes(row) {
                self.end_of_pair(&a, &b);
                self.end_of_pair(&b, &a);
                self.put_to_pair(&a, &b, row);
            }
        }
        pasted.rows.len()
    }

    fn again(&mut self, row: &Row) {
        let parts = self.features.iter_mut().chain(&mut self.between);
        for fields in parts
            .flat_map(|p| &mut p.characteristics)
            .filter(|c| text(c, "no") == row.no)
        {
            for (key, value) in [
                ("of", &row.of),
                ("nominal", &row.nominal),
                ("tolerance", &row.tolerance),
                ("datum", &row.datum),
            ] {
                if !value.is_empty() {
                    fields.insert(key, value.clone());
                }
            }
        }
    }

    fn put_to_feature(&mut self, name: &str, row: &Row, pasted: &Pasted) {
        let fields = self.measured(row);
        if let Some(part) = self.named(name).and_then(|i| self.features.get_mut(i)) {
            part.characteristics.push(fields);
            return;
        }
        let alike: Vec<&Row> = pasted.rows.iter().filter(|r| same(&row_name(r), name)).collect();
        let mut own = feature_of(&alike);
        own.insert("name", name.to_owned());
        if own.get("kind").is_some_and(|k| k == "plane") {
            faces_up(&mut own);
        }
        own.insert("key", self.key_for(name));
        self.features.push(Part {
            fields: own,
            characteristics: vec![fields],
        });
    }

    /// Makes the feature that a pair names and no row does: of the kind of the other one, to be placed by hand.
    fn end_of_pair(&mut self, name: &str, other: &str) {
        if self.named(name).is_some() {
            return;
        }
        let like = self.named(other).and_then(|i| self.features.get(i));
        let kind = like.map_or("plane", |f| f.text("kind")).to_owned();
        let mut own = fields([("kind", &kind), ("name", name), ("key", &self.key_for(name))]);
        if kind == "plane" {
            faces_up(&mut own);
        }
        self.features.push(Part {
            fields: own,
            ..Part::default()
        });
    }

    fn put_to_pair(&mut self, a: &str, b: &str, row: &Row) {
        let key = |name: &str| {
            self.named(name)
                .and_then(|i| self.features.get(i))
                .map_or("", |f| f.text("key"))
                .to_owned()
        };
        let own = fields([
            ("first", &key(a)),
            ("second", &key(b)),
            ("key", &self.free_key("between")),
        ]);
        let measured = self.measured(row);
        self.between.push(Part {
            fields: own,
            characteristics: vec![measured],
        });
    }

    fn measured(&self, row: &Row) -> Fields {
        let no = if row.no.is_empty() {
            self.next_number().to_string()
        } else {
            row.no.clone()
        };
        let mut made = fields([
            ("no", &no),
            ("of", &row.of),
            ("nominal", &row.nominal),
            ("tolerance", &row.tolerance),
            ("datum", &row.datum),
        ]);
        made.retain(|_, value| !value.is_empty());
        made
    }

    fn key_for(&self, name: &str) -> String {
        let slug = super::like_holes::slug(name);
        let taken = |key: &str| self.features.iter().chain(&self.between).any(|p| p.text("key") == key);
        if taken(&slug) { self.free_key(&slug) } else { slug }
    }
}

fn same(a: &str, b: &str) -> bool {
    !a.trim().is_empty() && a.trim().to_lowercase() == b.trim().to_lowercase()
}

fn row_name(row: &Row) -> String {
    if row.name.is_empty() {
        format!("Feature at {}", row.no)
    } else {
        row.name.clone()
    }
}

fn two_names(name: &str) -> Option<(&str, &str)> {
    [" to ", " and ", " - ", " – "]
        .iter()
        .find_map(|by| name.split_once(by))
        .map(|(a, b)| (a.trim(), b.trim()))
}

/// A face looks up unless its name says that it stands upright or looks down.
fn faces_up(own: &mut Fields) {
    const OTHERWISE: [&str; 8] = ["wall", "side", "bottom", "left", "right", "front", "back", "end"];
    let name = text(own, "name").to_lowercase();
    let otherwise = name
        .split(|c: char| !c.is_alphanumeric())
        .any(|word| OTHERWISE.contains(&word));
    if !otherwise {
        own.insert("normal", "up".to_owned());
    }
}

/// What kind of feature has all these quantities, and what of its geometry their nominals tell.
fn feature_of(rows: &[&Row]) -> Fields {
    let has = |of: &str| rows.iter().any(|r| r.of == of);
    let value = |of: &str| rows.iter().find(|r| r.of == of).map_or("", |r| r.nominal.as_str());
    let (x, y, z) = (value("x"), value("y"), value("z"));
    let plan = has("x") && has("y");
    // Lines and slots have their angle from X, faces theirs to a datum.
    let to_datum = rows.iter().any(|r| r.of == "angle" && !r.datum.is_empty());
    let kind = if has("width") || has("length") {
        "slot"
    } else if has("cylindricity") || (has("diameter") && has("perpendicularity")) {
        "cylinder"
    } else if has("form") {
        "sphere"
    } else if has("diameter") || has("roundness") || has("position") || plan {
        "circle"
    } else if has("straightness") || (has("angle") && !has("flatness") && !to_datum) {
        "line"
    } else {
        "plane"
    };
    let height = if z.is_empty() && matches!(kind, "circle" | "slot" | "cylinder") {
        "0"
    } else {
        z
    };
    let at = format!("{x}\t{y}\t{height}");
    let mut own = fields([("kind", kind), ("at", if at == "\t\t" { "" } else { &at })]);
    for key in ["diameter", "length", "width", "angle"] {
        own.insert(key, value(key).to_owned());
    }
    if kind == "plane" && has("flatness") {
        own.insert("points", "8".to_owned());
    }
    if kind == "slot" && !has("angle") {
        own.insert("angle", "0".to_owned());
    }
    if kind == "cylinder" {
        own.insert("axis", "up".to_owned());
    }
    own.retain(|_, v| !v.is_empty());
    own
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exercise::form::take;

    const TABLE: &str = "No\tCharacteristic\tNominal\tTolerance\n1\tHole 1 diameter\tØ10\tH7\n2\tHole 1 X\t30\t±0.05\n\
                         3\tHole 1 Y\t25\t±0.05\n4\tTop face flatness\t\t0.02\n5\tHole 2 Ø\t8\t+0.02/0\n\
                         6\tDistance Hole 1 to Hole 2\t40\t0.1\n7\tBlend\t3\t\n";

    #[test]
    fn a_table_goes_to_its_features() {
        let pasted = read_table(TABLE, &[]);
        assert_eq!(pasted.parted_by, "tabs");
        assert_eq!(
            pasted.columns,
            [Column::Number, Column::What, Column::Nominal, Column::Tolerance]
        );
        let mut form = Form::default();
        assert_eq!(form.put_table(&pasted), 7);
        let kinds: Vec<String> = form
            .features
            .iter()
            .map(|f| format!("{} {} {}", f.text("kind"), f.text("key"), f.characteristics.len()))
            .collect();
        assert_eq!(
            kinds,
            [
                "circle hole-1 3",
                "plane top-face 1",
                "circle hole-2 1",
                "plane blend 1"
            ]
        );
        assert_eq!(form.features[0].text("at"), "30\t25\t0");
        assert_eq!(form.features[0].text("diameter"), "10");
        assert_eq!(text(&form.features[1].characteristics[0], "tolerance"), "max 0.02");
        let pair = &form.between[0];
        assert_eq!((pair.text("first"), pair.text("second")), ("hole-1", "hole-2"));
        assert_eq!(text(&pair.characteristics[0], "tolerance"), "±0.1");
        // A step is one step: what the page sends back of it is the same.
        assert_eq!(take(&form.toml()).form.changed_fields(&form), Some(Vec::new()));
        // Pasted again, nothing comes twice.
        let before = form.clone();
        form.put_table(&pasted);
        assert_eq!(form, before);
    }

    #[test]
    fn what_lies_between_two_and_what_is_to_a_datum_is_understood() {
        let table = "1\tBore 1 diameter\t12\tH7\n8\tDistance Bore 1 - Bore 2\t70\t±0.03\n\
                     10\tTop to Step distance\t6\t±0.05\n12\tAngle of step wall to B\t90°\t±0.1°\n9\tSlot width\t10\t\n\
                     11\tFlatness of top\t\t0.02\n13\tStep depth\t6\t";
        let pasted = read_table(table, &[]);
        let mut form = Form::default();
        form.put_table(&pasted);
        let of = |name: &str| &form.features[form.named(name).unwrap()];
        assert_eq!(of("Bore 2").text("kind"), "circle");
        assert_eq!((of("Step").text("kind"), of("Step").text("normal")), ("plane", "up"));
        let wall = of("step wall");
        assert_eq!((wall.text("kind"), wall.text("normal")), ("plane", ""));
        assert_eq!(text(&wall.characteristics[0], "datum"), "B");
        assert_eq!(text(&wall.characteristics[0], "tolerance"), "±0.1");
        assert_eq!(of("Slot").text("angle"), "0");
        assert_eq!(of("top").text("points"), "8");
        let pairs: Vec<String> = form.between.iter().map(|p| form.pair_name(p)).collect();
        assert_eq!(pairs, ["Bore 1 to Bore 2", "top to Step"]);
        // A depth alone does not say from where.
        assert!(
            pasted.rows[6].remark.contains("between two features"),
            "{}",
            pasted.rows[6].remark
        );
    }

    #[test]
    fn a_number_that_names_something_else_now_goes_there() {
        let mut form = Form::default();
        form.put_table(&read_table("1\tHole X\t10\t0.1\n2\tEdge\t5\t", &[]));
        let again = read_table("1\tHole X\t11\t0.2\n2\tHole Y\t5\t0.1", &[]);
        assert_eq!(form.taken_from(&again), [None, Some("Edge".to_owned())]);
        assert_eq!(form.where_to(&again), [Goes::Again, Goes::To("Hole".to_owned())]);
        form.put_table(&again);
        assert_eq!(form.features.len(), 1, "what is left empty goes");
        let numbers: Vec<&str> = form.characteristics().map(|c| text(c, "of")).collect();
        assert_eq!(numbers, ["x", "y"]);
    }

    #[test]
    fn delimiters_and_decimal_marks_are_found() {
        for (table, parted_by, comma, nominal) in [
            ("1;Hole X;30,5;±0,05\n2;Hole Y;12;±0,05", "semicolons", true, "30.5"),
            ("1,Hole X,30.5,±0.05\n2,Hole Y,12,0.1", "commas", false, "30.5"),
            ("1|Hole X|30.5|±0.05", "strokes", false, "30.5"),
            ("1  Hole X  30.5  ±0.05", "two blanks and more", false, "30.5"),
            ("1;Hole X;30,5;±0.05", "semicolons", false, "30,5"),
            ("1,\"Hole, left X\",30.5,0.1", "commas", false, "30.5"),
        ] {
            let pasted = read_table(table, &[]);
            assert_eq!((pasted.parted_by, pasted.decimal_comma), (parted_by, comma), "{table}");
            assert_eq!(pasted.rows[0].nominal, nominal, "{table}");
            assert_eq!(pasted.rows[0].of, "x", "{table}");
        }
        let said = [
            Some(Column::Number),
            Some(Column::Left),
            Some(Column::Feature),
            Some(Column::What),
        ];
        let pasted = read_table("1;a;Bore;diameter", &said);
        assert_eq!(
            (pasted.rows[0].name.as_str(), pasted.rows[0].of.as_str()),
            ("Bore", "diameter")
        );
        assert_eq!(read_table("", &[]).rows, []);
        assert_eq!(read_table("\u{0}\t\t\n;;;", &[]).rows.len(), 2);
    }
}
