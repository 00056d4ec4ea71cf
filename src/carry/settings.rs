//! What carrying marks over goes by.
use crate::settings::settings;

settings! {
    /// What carrying marks over goes by.
    CARRY: CarrySettings of "carry" {
        least_contrast = 2.0, "grey levels", "judgement":
            "Standard deviation of a patch's grey levels below which it shows nothing.";
        least_likeness = 0.75, "correlation", "judgement":
            "Least correlation of a mark's surroundings before and after.";
        alone_likeness = 0.9, "correlation", "judgement":
            "The same where nothing tells what changed in the whole, and a mark is looked for where it was.";
        there_and_back = 1.0, "px", "judgement":
            "How far from where it was a mark carried over and back again may come out.";
        most_deviation = 1.5, "px", "judgement":
            "A mark that is carried less surely than this is left unmarked.";
        noise = 3.2, "times", "judgement, by photographs with published maps":
            "By how much differences of neighbouring samples, which are alike, count for less than their number.";
        least_deviation = 0.05, "px", "judgement":
            "No mark is carried more surely than this.";
        told_from = 0.25, "px", "judgement: beside clicks of 0.75 px it changes 5 %":
            "A mark carried more surely keeps what the job says of it.";
        camera_level = 0.001, "share", "judgement":
            "Probability at which a mark that went with the subject is taken for one that the cameras contradict.";
        camera_apart = 1.0, "px", "judgement":
            "A mark that is found less far from where the cameras expect it does not contradict them.";
        sure_likeness = 0.9, "correlation", "judgement":
            "A mark whose surroundings are found this much alike is believed against the cameras.";
        most_placed = 2.0, "px", "judgement":
            "A mark is placed by the camera up to this standard deviation, the mark's own included.";
        part_marks = 2.0, "marks", "judgement":
            "So many other marks of a part have to be found where the cameras expect them before one of it is placed in a render.";
        least_found = 0.5, "share", "judgement":
            "An image that was written over takes marks over only where so many of them are found: else it shows something else.";
    }
}
