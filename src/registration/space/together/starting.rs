//! What several photos start from: each alone, with its marks and what is known of its camera, and the parts.
use super::{
    joint::{Joint, JointMark, JointPart, JointPhoto, SHARPEST, Solved, State},
    marks::{self, Cleaned},
    part::{Nine, OFFSET, PartFrame, SIZE, TURN},
    subject::{Subject, SubjectLength},
    ties::{JointEnd, JointLength, JointMirror},
};
use crate::registration::space::{
    attitudes, camera::Camera, error::Error, looked::Looked, of_view::ViewPhoto, photo::Observed,
    settings::SPACE, solving::Problem,
};
use nalgebra::{Matrix3, Vector3};

/// One of the photos.
#[derive(Clone, Debug)]
pub struct TogetherPhoto {
    /// The photo and its marks.
    pub view: ViewPhoto,
    /// The part that each mark lies on. By it datum marks are tested as a whole; other marks without one are only predicted.
    pub part_of: Vec<Option<usize>>,
    /// The photo that was taken with the same camera, focal length and crop: an earlier or a later one of the list.
    pub same_as: Option<usize>,
}

/// Deviation of what a photo of a shared camera does not observe itself: far above any number of a camera.
const NOTHING: f64 = 1e3;

/// The adjustment with the cameras that each photo has alone.
pub(super) struct Started {
    joint: Joint,
    state: State,
    kept: Vec<bool>,
    factors: Vec<f64>,
    /// Which of the photos take part.
    pub(super) solved: Vec<usize>,
    /// Other attitudes that photos may be seen from: number among those that take part, and camera.
    others: Vec<(usize, Camera)>,
}

impl Started {
    pub(super) fn new(
        photos: &[TogetherPhoto],
        looked: &[Result<Looked, Error>],
        subject: &Subject,
    ) -> Option<Self> {
        let each: Vec<(usize, &Looked)> = looked
            .iter()
            .enumerate()
            .filter_map(|(k, found)| Some((k, found.as_ref().ok()?)))
            .collect();
        if each.is_empty() {
            return None;
        }
        let solved: Vec<usize> = each.iter().map(|(k, _)| *k).collect();
        let mut joint = Joint {
            photos: joint_photos(photos, &each),
            parts: Vec::new(),
            marks: Vec::new(),
            ties: ties(photos, &solved),
            lengths: Vec::new(),
            mirrors: Vec::new(),
            edges: Vec::new(),
            scale_at: None,
            numbers: 0,
        };
        let mut kept = Vec::new();
        for (number, (k, found)) in each.iter().enumerate() {
            add_marks(&mut joint, &mut kept, number, &photos[*k], found);
        }
        joint.parts = joint_parts(&joint, &each, subject);
        joint.lengths = joint_lengths(&each, subject);
        mirror(&mut joint, subject);
        joint.lay_out();
        let mut cameras: Vec<Camera> = each.iter().map(|(_, l)| l.cleaned.solved.camera).collect();
        for tie in &joint.ties {
            for k in *tie {
                cameras[k].has_focal = true;
            }
        }
        let others = each.iter().enumerate().filter_map(|(number, (_, found))| {
            let (second, _) = attitudes::second(&found.cleaned, &found.minima)?;
            let camera = Camera {
                has_focal: cameras[number].has_focal,
                ..second.camera
            };
            Some((number, camera))
        });
        let others = others.collect();
        Some(Self {
            state: State {
                cameras,
                errors: vec![Nine::zeros(); subject.parts],
                log_scale: 0.0,
            },
            factors: each.iter().map(|(_, l)| l.cleaned.factor).collect(),
            joint,
            kept,
            solved,
            others,
        })
    }

    /// The robust solution of least cost over the attitudes that photos may be seen from, then looked through.
    pub(super) fn cleaned(&self) -> Option<Cleaned> {
        let robust = |state: &State| marks::robust(&self.joint, state, &self.kept, &self.factors);
        let mut best: Option<Solved> = robust(&self.state);
        for (number, camera) in &self.others {
            let mut state = self.state.clone();
            state.cameras[*number] = *camera;
            let tried = robust(&state);
            let is_better = |tried: &Solved| best.as_ref().is_none_or(|b| tried.cost < b.cost);
            if tried.as_ref().is_some_and(is_better) {
                best = tried;
            }
        }
        Cleaned::new(
            self.joint.clone(),
            best?,
            self.kept.clone(),
            self.factors.clone(),
        )
    }
}

/// Pairs of photos of one camera, as numbers among those that take part.
fn ties(photos: &[TogetherPhoto], solved: &[usize]) -> Vec<[usize; 2]> {
    let number = |photo: usize| solved.iter().position(|&k| k == photo);
    let tie = |&k: &usize| Some([number(photos[k].same_as?)?, number(k)?]);
    solved.iter().filter_map(tie).collect()
}

fn joint_photos(photos: &[TogetherPhoto], each: &[(usize, &Looked)]) -> Vec<JointPhoto> {
    let solved: Vec<usize> = each.iter().map(|(k, _)| *k).collect();
    let ties = ties(photos, &solved);
    let photo = |(number, (k, found)): (usize, &(usize, &Looked))| {
        let own = &found.cleaned.problem;
        let mut known = own.known.clone();
        if let Some(focal) = &mut known.log_focal {
            focal.deviation = focal.deviation.max(SHARPEST);
        }
        if ties.iter().any(|[_, tied]| *tied == number) {
            // The camera is observed once, by the photo that this one is tied to.
            known.log_focal = None;
            for seen in known.principal.iter_mut().chain([&mut known.lens]) {
                *seen = Observed {
                    value: seen.value,
                    deviation: NOTHING,
                };
            }
        }
        let count = found.cleaned.solved.camera.count();
        JointPhoto {
            units: found.units.clone(),
            problem: Problem {
                marks: Vec::new(),
                known,
                half: own.half,
                sigma: own.sigma,
            },
            first: 0,
            count,
            is_stated: photos[*k].view.photo.mark_sigma_px.is_some(),
        }
    };
    each.iter().enumerate().map(photo).collect()
}

/// The marks of one photo: those of the datum as they were found, those on parts as they are.
fn add_marks(
    joint: &mut Joint,
    kept: &mut Vec<bool>,
    number: usize,
    photo: &TogetherPhoto,
    found: &Looked,
) {
    for (own, (mark, part)) in photo.view.marks.iter().zip(&photo.part_of).enumerate() {
        let of_datum = found.datum.iter().position(|&d| d == own);
        if of_datum.is_none() && part.is_none() {
            continue;
        }
        let place_in_picture = match of_datum {
            // Exchanged ones are taken the other way round.
            Some(d) => found.cleaned.problem.marks[d].mark,
            None => found.units.mark(mark.mark),
        };
        joint.marks.push(JointMark {
            photo: number,
            own,
            part: if of_datum.is_some() { None } else { *part },
            datum_part: of_datum.and(*part),
            place: mark.place.vector(),
            place_sigma: mark.place_sigma_mm,
            mark: place_in_picture,
        });
        kept.push(of_datum.is_none_or(|d| found.cleaned.kept[d]));
    }
}

fn joint_parts(joint: &Joint, each: &[(usize, &Looked)], subject: &Subject) -> Vec<JointPart> {
    let expected = &subject.expected;
    // How much of the model the diagonal of a photo shows, millimetres: the mean over the photos.
    let shown = each
        .iter()
        .map(|(_, l)| 2.0 * l.units.size / l.cleaned.solved.camera.scale());
    let diagonal = shown.sum::<f64>() / each.len() as f64;
    let mut nine = Nine::zeros();
    for k in 0..3 {
        nine[SIZE + k] = expected.size_percent / 100.0;
        nine[TURN + k] = expected.rotation_deg.to_radians();
        nine[OFFSET + k] = expected.offset_percent / 100.0 * diagonal;
    }
    let part = |part: usize| {
        let places = joint.marks.iter().filter(|mark| mark.part == Some(part));
        let axes = subject.axes_of(part).vectors().map(Vector3::from);
        let about = PartFrame::about(places.map(|mark| mark.place), Matrix3::from_columns(&axes));
        JointPart {
            frame: PartFrame {
                anchor: subject.middle_of(part).unwrap_or(about.anchor),
                ..about
            },
            expected: nine,
            first: None,
        }
    };
    (0..subject.parts).map(part).collect()
}

/// Known lengths, each good to a part of a mark at both of its ends.
fn joint_lengths(each: &[(usize, &Looked)], subject: &Subject) -> Vec<JointLength> {
    let marks = each.iter().map(|(_, l)| {
        let units = l.units.size / l.cleaned.solved.camera.scale();
        l.cleaned.problem.sigma * l.cleaned.factor * units
    });
    let mark_mm = marks.sum::<f64>() / each.len() as f64;
    let length = |length: &SubjectLength| JointLength {
        ends: length.ends.map(|end| JointEnd {
            place: Vector3::from(end.place_mm),
            part: end.part.filter(|_| !end.is_datum),
            datum_part: end.part.filter(|_| end.is_datum),
        }),
        log: length.model_mm.ln(),
        deviation: SPACE.length_marks.get() * mark_mm / length.model_mm,
        is_kept: true,
    };
    subject.lengths.iter().map(length).collect()
}

/// Ties the errors of parts that mirror each other, and states them about places that do.
fn mirror(joint: &mut Joint, subject: &Subject) {
    let Some(mirror) = &subject.mirror else {
        return;
    };
    let (axis, at) = (mirror.axis, mirror.at_mm);
    let signs = |joint: &Joint, parts: [usize; 2]| {
        mirrored_signs(parts.map(|k| joint.parts[k].frame.axes), axis)
    };
    for &[a, b] in &mirror.pairs {
        let mut image = joint.parts[a].frame.anchor;
        image[axis] = 2.0 * at - image[axis];
        joint.parts[b].frame.anchor = image;
        let signs = signs(joint, [a, b]);
        joint.mirrors.push(JointMirror {
            parts: [a, b],
            signs,
        });
    }
    for &part in &mirror.across {
        joint.parts[part].frame.anchor[axis] = at;
        let parts = [part, part];
        let signs = signs(joint, parts);
        joint.mirrors.push(JointMirror { parts, signs });
    }
}

/// Whether each axis of the second part runs as the mirror image of that of the first or against it.
fn mirrored_signs([a, b]: [Matrix3<f64>; 2], axis: usize) -> [f64; 3] {
    std::array::from_fn(|k| {
        let mut image: Vector3<f64> = a.column(k).into();
        image[axis] = -image[axis];
        1.0_f64.copysign(image.dot(&b.column(k)))
    })
}
