//! What drawing a page of a plan goes by.
use crate::settings::settings;

settings! {
    /// What drawing a page of a plan goes by.
    PLAN: PlanSettings of "plan" {
        longest_file = 256.0, "MB", "judgement":
            "Longest PDF that is read.";
        most_seconds = 60.0, "s", "judgement":
            "How long one process may read or draw, unless --max-seconds says otherwise.";
        most_memory = 2048.0, "MiB", "judgement":
            "Memory that reading and drawing may take, besides the file and the picture, unless --max-memory says otherwise.";
        least_dpi = 50.0, "dots per inch", "judgement":
            "Least resolution of a picture.";
        usual_dpi = 300.0, "dots per inch", "judgement: thin lines of a plan are 0.18 mm wide, two pixels":
            "Resolution of a picture unless --dpi says otherwise.";
        most_dpi = 1200.0, "dots per inch", "judgement":
            "Greatest resolution of a picture.";
        most_pixels = 100.0, "million px", "judgement: as many as a job reads":
            "Most pixels of a picture.";
        longest_side = 60000.0, "px", "judgement: the crate that draws counts to 65,535":
            "Longest side of a picture.";
        least_side = 1.0, "pt", "judgement":
            "A page with a shorter side has no area to draw.";
        most_listed = 200.0, "pages", "judgement":
            "Pages that are listed of a document.";
    }
}
