//! The forward model on every shipped exercise: it agrees with the references, with the frame as built from probed
//! points, and with the figures fitted to them.

use std::fs;
use std::path::Path;

use platemark::exercise::file::{read_exercise, read_plates};
use platemark::exercise::geometry;
use platemark::exercise::model::{Datum, Exercise, Owner, Quantity, Shape, Side};
use platemark::exercise::plate::{self, Plates};
use platemark::metrology::frame::{Axis, Datums, Frame, Hit, Surface, frame};
use platemark::metrology::tip;
use platemark::procedure::fault::{Family, Fault, PlanAxis, QuarterTurn};
use platemark::procedure::model::Model;
use platemark::procedure::points::{ProbedPoint, Setting, probed_points};
use platemark::procedure::sampler::Sampler;
use platemark::units::decimal_to_f64;

fn shelf() -> Vec<(Exercise, Plates)> {
    let folders = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("exercises")).unwrap();
    let folders = folders.map(|f| f.unwrap().path()).filter(|p| p.is_dir());
    let read = |folder: std::path::PathBuf| {
        let text = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
        let exercise = read_exercise("exercise.toml", &text("exercise.toml")).0.unwrap();
        let plates = read_plates("plates.toml", &text("plates.toml"), &exercise).0.unwrap();
        (exercise, plates)
    };
    folders.map(read).collect()
}

#[test]
fn without_faults_every_plate_reports_its_references() {
    for (exercise, plates) in shelf() {
        let model = Model::new(&exercise, &plates.plates).unwrap();
        for plate in &plates.plates {
            let index = model.plate(&plate.serial).unwrap();
            let predicted = model.predict(index, &[]).unwrap();
            let references = plate::references(&exercise, plate);
            let wanted: Vec<Option<f64>> = references
                .into_iter()
                .map(|r| r.map(|r| decimal_to_f64(r.value)))
                .collect();
            assert_eq!(predicted, wanted, "{}", plate.serial);
        }
    }
}

/// One fault of every family of placing, frame, tip, temperature and unit.
fn of_measuring(exercise: &Exercise) -> Vec<Fault> {
    vec![
        Fault::OriginShift {
            axis: platemark::exercise::model::Axis::X,
            amount: 0.5,
        },
        Fault::OppositeCorner { axis: PlanAxis::Y },
        Fault::FrameRotated { angle_deg: 0.3 },
        Fault::FrameTilted {
            about: PlanAxis::X,
            angle_deg: 0.3,
        },
        Fault::PartTurned {
            angle_deg: QuarterTurn::Three,
        },
        Fault::AxesExchanged {},
        Fault::AxisReversed {
            axis: platemark::exercise::model::Axis::Y,
        },
        Fault::TipIgnoredOnDatum {
            datum: exercise.datum_frame.secondary.letter,
        },
        Fault::TipIgnoredOnSize {},
        Fault::TipIgnoredOnSurface {},
        Fault::TipWrong { amount: 0.2 },
        Fault::WrongUnit { factor: 25.4 },
        Fault::Temperature { ppm: 120.0 },
    ]
}

/// One fault of every family, as far as the exercise has what it acts on.
fn one_of_each(exercise: &Exercise, plates: &Plates) -> Vec<Fault> {
    let no = |of: Quantity| {
        exercise
            .characteristics
            .iter()
            .find(|c| c.of == of)
            .map(|c| c.no.clone())
    };
    let any = exercise.characteristics[0].no.clone();
    let mut faults = of_measuring(exercise);
    faults.extend([
        Fault::DeviationForValue {
            items: vec![any.clone()],
        },
        Fault::NominalsCopied {
            items: vec![any.clone()],
        },
        Fault::FeaturesExchanged {
            a: exercise.features[0].key.clone(),
            b: exercise.features[1].key.clone(),
        },
        Fault::WrongPlate {
            serial: plates.plates[1].serial.clone(),
        },
        Fault::DigitsTransposed {
            item: any.clone(),
            place: None,
        },
        Fault::DecimalSlipped {
            item: any.clone(),
            power: 1,
        },
        Fault::SignDropped { item: any.clone() },
        Fault::GrossError {
            item: any,
            amount: None,
        },
    ]);
    faults.extend(no(Quantity::Diameter).map(|no| Fault::RadiusForDiameter { items: vec![no] }));
    let declared = exercise.mistaken_surfaces.iter();
    faults.extend(declared.map(|m| Fault::MistakenSurface {
        datum: m.instead_of,
        name: m.name.clone(),
    }));
    faults
}

#[test]
fn every_family_gives_numbers_on_every_exercise() {
    let mut seen: Vec<Family> = Vec::new();
    for (exercise, plates) in shelf() {
        let model = Model::new(&exercise, &plates.plates).unwrap();
        let index = model.plate(&plates.plates[0].serial).unwrap();
        for fault in one_of_each(&exercise, &plates) {
            let predicted = model.predict(index, std::slice::from_ref(&fault)).unwrap();
            assert!(
                predicted.iter().flatten().all(|v| v.is_finite()),
                "{} {fault:?}",
                exercise.code
            );
            for (value, c) in predicted.iter().zip(&exercise.characteristics) {
                let cut = c.of.is_geometrical() && !matches!(fault, Fault::SignDropped { .. });
                assert!(
                    !cut || value.is_none_or(|v| v >= 0.0),
                    "{} {fault:?} {}",
                    exercise.code,
                    c.no
                );
            }
            seen.push(fault.family());
        }
    }
    for (code, family) in Family::ALL {
        assert!(seen.contains(&family), "{code}");
    }
}

fn hits(points: &[ProbedPoint], letter: char) -> Vec<Hit> {
    let mine = points.iter().filter(|p| p.feature.chars().eq([letter]));
    mine.map(|p| Hit {
        tip: p.tip,
        approach: Some(p.direction.map(|v| -v)),
    })
    .collect()
}

fn surface<'a>(datum: &Datum, hits: &'a [Hit]) -> Surface<'a> {
    let (axis, sign) = datum.face.normal();
    let axis = [Axis::X, Axis::Y, Axis::Z][axis.index()];
    Surface {
        hits,
        axis,
        outward: sign > 0.0,
        at: decimal_to_f64(datum.at),
    }
}

/// The frame that a pair builds from the probed points.
fn built(exercise: &Exercise, points: &[ProbedPoint]) -> Frame {
    let all = exercise.datum_frame.all();
    let hits = all.map(|d| hits(points, d.letter));
    let [primary, secondary, tertiary] = [0, 1, 2].map(|i| surface(all[i], &hits[i]));
    let radius = decimal_to_f64(exercise.measurement.tip_diameter) / 2.0;
    frame(
        &Datums::Faces {
            primary,
            secondary,
            tertiary,
        },
        radius,
    )
    .unwrap()
}

#[test]
fn points_of_virtual_plates_reduce_to_the_plates() {
    let mut compared = 0;
    for (exercise, plates) in shelf() {
        let radius = decimal_to_f64(exercise.measurement.tip_diameter) / 2.0;
        for plate in &plates.plates {
            let mut sampler = Sampler::new(17, "reduce");
            let setting = Setting::by_eye(exercise.units, &mut sampler);
            let points = probed_points(&exercise, plate, &setting, 0.0, &mut sampler);
            let movement = built(&exercise, &points).movement;
            let states = plate::true_states(&exercise, plate);
            for (feature, state) in exercise.features.iter().zip(&states) {
                let Shape::Circle { .. } = feature.shape else { continue };
                let mine = points.iter().filter(|p| p.feature == feature.key.as_str());
                let tips: Vec<[f64; 3]> = mine.map(|p| movement.to_part(p.tip)).collect();
                let side = if feature.side == Some(Side::Outside) {
                    tip::Side::Outside
                } else {
                    tip::Side::Inside
                };
                let found = tip::round(&tips, radius, side).unwrap();
                // Source: the plate's own states; tolerance: fits that have converged.
                let centre = found.fit.figure.centre;
                for axis in [0, 1] {
                    assert!(
                        (centre[axis] - state.at[axis]).abs() < 1e-7,
                        "{} {}",
                        plate.serial,
                        feature.key
                    );
                }
                assert!(
                    (found.diameter - state.diameter).abs() < 1e-7,
                    "{} {}",
                    plate.serial,
                    feature.key
                );
                compared += 1;
            }
        }
    }
    assert!(compared > 100, "{compared}");
}

#[test]
fn the_frames_noise_is_that_of_the_built_frame() {
    for (exercise, plates) in shelf() {
        let model = Model::new(&exercise, &plates.plates).unwrap();
        let plate = &plates.plates[0];
        let noise = model.noise(model.plate(&plate.serial).unwrap()).unwrap();
        let level = Setting {
            angle_deg: 0.0,
            tilt_deg: [0.0; 2],
            offset: [0.0; 3],
        };
        let points = probed_points(&exercise, plate, &level, 0.0, &mut Sampler::new(1, "level"));
        let built = built(&exercise, &points);
        let s2 = decimal_to_f64(exercise.measurement.repeatability).powi(2);
        let nominal = geometry::nominal_states(&exercise);
        for (i, c) in exercise.characteristics.iter().enumerate() {
            let (Owner::Feature(feature), Some(axis)) = (c.owner, c.of.axis()) else {
                continue;
            };
            let k = axis.index();
            let expected = (built.point_covariance(nominal[feature].at)[(k, k)] * s2).sqrt();
            // Source: covariance of the frame by propagation through its own fits, in which the tip centres stand off
            // the faces by a radius and the place is the nominal one; tolerance 5 per cent.
            let found = noise.frame_standard(i);
            assert!(
                (found / expected - 1.0).abs() < 0.05,
                "{} {}: {found} {expected}",
                exercise.code,
                c.no
            );
        }
    }
}
