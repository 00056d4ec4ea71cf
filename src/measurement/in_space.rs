//! Parts in space, judged: verdicts by the tolerances of the job, corrections along the axes of the model or the part's own, and in words what
//! the photos do not tell.
use super::{
    Correction, Verdict,
    judge::{
        correction::{calls_for_change, factor_of, is_visible},
        ranking, verdict,
    },
};
use crate::{
    job::{Job, PartAxes, TogetherPart, Tolerance},
    registration::space::together::{Aside, PartErrors, Would},
    statistics::{Measured, words::decimals},
};

/// A part in space with its verdict.
#[derive(Clone, Debug)]
pub struct PartInSpace {
    /// Its name.
    pub name: String,
    /// Its own axes, along which its errors are then told; `None`: along those of the model.
    pub axes: Option<PartAxes>,
    /// Its errors.
    pub found: PartErrors,
    /// What is tolerated.
    pub tolerance: Tolerance,
    /// The worst of what is told; undecided where nothing is.
    pub verdict: Verdict,
    /// Its largest error in units of its tolerance.
    pub times_tolerance: f64,
    /// What to change.
    pub correction: Option<Correction>,
    /// What cannot be told, such as "depth" or "width and offset along x apart from each other".
    pub cannot_tell: Vec<String>,
    /// Which further photo would tell more of it.
    pub would_tell: Option<String>,
}

/// The nine errors as they are called.
pub const NAMES_IN_SPACE: [&str; 9] = [
    "width",
    "depth",
    "height",
    "turn about x",
    "turn about y",
    "turn about z",
    "offset along x",
    "offset along y",
    "offset along z",
];

/// The same of a part that has axes of its own.
pub const NAMES_ALONG_OWN: [&str; 9] = [
    "width",
    "depth",
    "height",
    "turn about its own x",
    "turn about its own y",
    "turn about its own z",
    "offset along its own x",
    "offset along its own y",
    "offset along its own z",
];

/// The axes of the model as they are written.
pub(crate) const AXES: [&str; 3] = ["x", "y", "z"];
/// The axes of a part that has its own.
pub(crate) const OWN_AXES: [&str; 3] = ["its own x", "its own y", "its own z"];
/// What a size is called, what it becomes where it is too small, and where it is too large.
const SIZES: [[&str; 3]; 3] = [
    ["width", "wider", "narrower"],
    ["depth", "deeper", "shallower"],
    ["height", "higher", "lower"],
];
/// A positive turn about each axis takes the first to the second.
pub(crate) const TURNS: [[&str; 2]; 3] = [["y", "z"], ["z", "x"], ["x", "y"]];

impl PartInSpace {
    /// Judges what was found of a part; `photos` are the names of the photos.
    pub fn new(job: &Job, part: &TogetherPart, found: &PartErrors, photos: &[&str]) -> Self {
        let judged = Judged { job, part, found };
        let names = match part.axes {
            Some(_) => &NAMES_ALONG_OWN,
            None => &NAMES_IN_SPACE,
        };
        let verdicts = (0..9).filter_map(|k| judged.verdict(k));
        let times = (0..9).map(|k| ranking::times_tolerance(judged.told(k), judged.limit(k)));
        Self {
            name: part.name.clone(),
            axes: part.axes,
            tolerance: part.tolerance,
            verdict: verdict::worst(verdicts).unwrap_or(Verdict::Undecided),
            times_tolerance: times.fold(0.0, f64::max),
            correction: judged.correction(),
            cannot_tell: cannot_tell(found, names),
            would_tell: found
                .would
                .as_ref()
                .map(|would| would_tell(would, (found, names), photos)),
            found: found.clone(),
        }
    }
}

struct Judged<'a> {
    job: &'a Job,
    part: &'a TogetherPart,
    found: &'a PartErrors,
}

impl Judged<'_> {
    /// Its axes as they are written.
    fn axes(&self) -> [&'static str; 3] {
        match self.part.axes {
            Some(_) => OWN_AXES,
            None => AXES,
        }
    }

    fn told(&self, k: usize) -> Option<Measured> {
        self.found.errors[k].told()
    }

    fn limit(&self, k: usize) -> f64 {
        let tolerance = &self.part.tolerance;
        [
            tolerance.proportion_percent,
            tolerance.angle_deg,
            tolerance.offset.0,
        ][k / 3]
    }

    fn verdict(&self, k: usize) -> Option<Verdict> {
        self.told(k)
            .map(|error| verdict::judge(error, self.limit(k)))
    }

    /// The error, where it is told, calls for a change, and moves something by a visible amount.
    fn to_change(&self, k: usize, moves: impl Fn(f64) -> f64) -> Option<Measured> {
        let error = self.told(k)?;
        let calls = calls_for_change(error, self.verdict(k)?);
        (calls && is_visible(self.job, Some(moves(error.value())))).then_some(error)
    }

    fn times(&self, k: usize, error: Measured) -> f64 {
        ranking::times_tolerance(Some(error), self.limit(k))
    }

    /// The turn about an axis that takes its error off: times the tolerance, and in words.
    fn turn(&self, axis: usize) -> Option<(f64, String)> {
        let (k, extent) = (3 + axis, self.found.extent_mm);
        let reach = extent[(axis + 1) % 3].hypot(extent[(axis + 2) % 3]) / 2.0;
        let error = self.to_change(k, |degrees| reach * degrees.to_radians())?;
        let [mut from, mut to] = TURNS[axis];
        if error.value() > 0.0 {
            (from, to) = (to, from);
        }
        let degrees = decimals(error.value().abs(), 1);
        let text = format!(
            "turn {{}} {degrees}° about {}, from {from} towards {to}",
            self.axes()[axis]
        );
        Some((self.times(k, error), text))
    }

    /// The same for a size.
    fn scaling(&self, axis: usize) -> Option<(f64, String)> {
        let moves = |percent: f64| self.found.extent_mm[axis] * (1.0 - factor_of(percent));
        let error = self.to_change(axis, moves)?;
        let [what, too_small, too_large] = SIZES[axis];
        let is_large = error.value() > 0.0;
        let word = if is_large { too_large } else { too_small };
        let by = factor_of(error.value());
        let text = format!(
            "make {{}} {} % {word} along {} ({} mm on the model; scale its {what} by {})",
            decimals(100.0 * (1.0 - by).abs(), 1),
            self.axes()[axis],
            decimals(moves(error.value()).abs(), 2),
            decimals(by, 3)
        );
        Some((self.times(axis, error), text))
    }

    /// The same for all offsets.
    fn moving(&self) -> Option<(f64, String)> {
        let own = if self.part.axes.is_some() {
            " its own "
        } else {
            " "
        };
        let each = AXES.iter().enumerate().filter_map(|(axis, name)| {
            let error = self.to_change(6 + axis, |mm| mm)?;
            // The model lies too far along the axis: it has to go back.
            let sign = if error.value() > 0.0 { "−" } else { "+" };
            let mm = decimals(error.value().abs(), 2);
            Some((
                self.times(6 + axis, error),
                format!("{mm} mm towards{own}{sign}{name}"),
            ))
        });
        let (times, moves): (Vec<f64>, Vec<String>) = each.unzip();
        let most = times.into_iter().fold(0.0, f64::max);
        (!moves.is_empty()).then(|| (most, format!("move {{}} {}", moves.join(" and "))))
    }

    /// Turn, then scale, then move: the order in which the errors come off.
    fn correction(&self) -> Option<Correction> {
        let turns = (0..3).filter_map(|axis| self.turn(axis));
        let sizes = (0..3).filter_map(|axis| self.scaling(axis));
        let changes: Vec<(f64, String)> = turns.chain(sizes).chain(self.moving()).collect();
        let name = &self.part.name;
        let each = changes.iter().enumerate().map(|(k, (_, words))| {
            let part = if k == 0 {
                format!("the {name}")
            } else {
                "it".to_owned()
            };
            words.replacen("{}", &part, 1)
        });
        let text = each.collect::<Vec<_>>().join(", ");
        (!changes.is_empty()).then(|| Correction {
            about: name.clone(),
            text,
            times_tolerance: changes.iter().map(|(times, _)| *times).fold(0.0, f64::max),
        })
    }
}

fn named(numbers: &[usize], names: &[&str; 9]) -> String {
    let names: Vec<&str> = numbers.iter().map(|&k| names[k]).collect();
    match names.split_last() {
        Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        _ => names.concat(),
    }
}

fn cannot_tell(found: &PartErrors, names: &[&str; 9]) -> Vec<String> {
    let single = (0..9).filter(|&k| !found.errors[k].is_told);
    let together = found.only_together.iter();
    single
        .map(|k| names[k].to_owned())
        .chain(together.map(|numbers| format!("{} apart from each other", named(numbers, names))))
        .collect()
}

fn would_tell(would: &Would, (found, names): (&PartErrors, &[&str; 9]), photos: &[&str]) -> String {
    let side = match would.aside {
        Aside::Right => "to the right of",
        Aside::Left => "to the left of",
        Aside::Above => "above",
        Aside::Below => "below",
    };
    let untold = found.errors.iter().filter(|error| !error.is_told).count();
    let tells = if would.tells.len() == untold {
        "all of it".to_owned()
    } else {
        named(&would.tells, names)
    };
    format!(
        "a photo from {}° {side} \"{}\", with the same landmarks, would tell {tells}",
        decimals(would.degrees, 0),
        photos.get(would.photo).copied().unwrap_or_default()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::Expected,
        registration::space::together::PartError,
        units::{ModelMm, ScaleRatio},
    };

    fn job() -> Job {
        Job {
            title: String::new(),
            file: Default::default(),
            blake3: String::new(),
            scale: ScaleRatio::one_to(24.0).expect("above 0"),
            title_block: crate::job::TitleBlock::default(),
            smallest_visible: ModelMm(0.05),
            print: None,
            tolerance: part().tolerance,
            expected: Expected {
                size_percent: 4.0,
                rotation_deg: 1.5,
                offset_percent: 0.8,
                keystone_percent: 0.3,
            },
            model: None,
            views: Vec::new(),
            together: None,
        }
    }

    fn part() -> TogetherPart {
        TogetherPart {
            name: "lantern".to_owned(),
            axes: None,
            tolerance: Tolerance {
                proportion_percent: 2.0,
                offset: ModelMm(0.2),
                angle_deg: 1.0,
                edge_overlap: 0.5,
            },
            landmarks: Vec::new(),
            datum: Vec::new(),
        }
    }

    fn found(errors: [(f64, f64); 9]) -> PartErrors {
        let error = |(value, half): (f64, f64)| PartError {
            figure: Measured::plus_minus(value, half).expect("finite"),
            expected: 4.0,
            deviation: half / 2.0,
            is_told: half < 4.0,
        };
        PartErrors {
            anchor_mm: [0.0; 3],
            extent_mm: [8.0, 8.0, 12.0],
            marks: 8,
            photos: vec![0],
            errors: errors.map(error),
            only_together: Vec::new(),
            would: None,
            is_altered_datum: false,
            edges: Default::default(),
        }
    }

    fn judged(errors: [(f64, f64); 9]) -> PartInSpace {
        PartInSpace::new(&job(), &part(), &found(errors), &["hall"])
    }

    const NONE: (f64, f64) = (0.0, 0.1);

    #[test]
    fn the_correction_takes_the_errors_off_along_the_axes() {
        let errors = [
            (4.0, 1.0),
            NONE,
            (-3.0, 0.5),
            NONE,
            NONE,
            (-2.5, 0.3),
            (0.3, 0.05),
            NONE,
            (-0.4, 0.05),
        ];
        let part = judged(errors);
        assert_eq!(part.verdict, Verdict::Out);
        assert_eq!(
            part.correction.expect("a change").text,
            "turn the lantern 2.5° about z, from x towards y, make it 3.8 % narrower along x (0.31 mm on the model; scale its width by 0.962), make it 3.1 % higher along z (0.37 mm on the model; scale its height by 1.031), move it 0.30 mm towards −x and 0.40 mm towards +z"
        );
    }

    #[test]
    fn the_correction_of_a_part_with_its_own_axes_says_so() {
        let errors = [
            NONE,
            NONE,
            (-3.0, 0.5),
            NONE,
            NONE,
            (-2.5, 0.3),
            (0.3, 0.05),
            NONE,
            (-0.4, 0.05),
        ];
        let own = TogetherPart {
            axes: PartAxes::new([0.8, 0.6, 0.0], [0.0, 0.0, 1.0]),
            ..part()
        };
        let part = PartInSpace::new(&job(), &own, &found(errors), &["hall"]);
        assert_eq!(part.axes, own.axes);
        assert_eq!(
            part.correction.expect("a change").text,
            "turn the lantern 2.5° about its own z, from x towards y, make it 3.1 % higher along its own z (0.37 mm on the model; scale its height by 1.031), move it 0.30 mm towards its own −x and 0.40 mm towards its own +z"
        );
    }

    #[test]
    fn a_part_within_is_left_alone_and_what_is_not_told_gives_no_verdict() {
        let mut errors = [NONE; 9];
        errors[1] = (9.0, 7.0);
        let part = judged(errors);
        assert_eq!(part.verdict, Verdict::Within);
        assert!(part.correction.is_none());
        assert_eq!(part.cannot_tell, ["depth"]);
        assert_eq!(judged([(0.0, 9.0); 9]).verdict, Verdict::Undecided);
    }

    #[test]
    fn words_say_which_photo_would_tell_what() {
        let mut errors = found([
            NONE,
            (0.0, 7.0),
            NONE,
            NONE,
            NONE,
            NONE,
            NONE,
            (0.0, 7.0),
            NONE,
        ]);
        errors.only_together = vec![vec![0, 6]];
        errors.would = Some(Would {
            photo: 0,
            aside: Aside::Left,
            degrees: 10.0,
            tells: vec![1],
        });
        let told = PartInSpace::new(&job(), &part(), &errors, &["hall"]);
        assert_eq!(
            told.would_tell.as_deref(),
            Some(
                "a photo from 10° to the left of \"hall\", with the same landmarks, would tell depth"
            )
        );
        assert_eq!(
            told.cannot_tell,
            [
                "depth",
                "offset along y",
                "width and offset along x apart from each other"
            ]
        );
    }
}
