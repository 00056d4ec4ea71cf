//! What the search for a bezel's edges goes by.
use crate::settings::settings;

settings! {
    /// What the search for a bezel's edges goes by.
    BEZEL: BezelSettings of "bezel" {
        reach = 0.006, "parts of the diagonal", "judgement":
            "How far to either side of a marked side is looked.";
        weakest = 8.0, "grey levels, all channels", "judgement":
            "Weakest edge of a station.";
        least_part = 0.2, "share", "judgement":
            "Least part that an edge has of the strongest one of its station.";
        near = 1.2, "px", "judgement":
            "How far a station's edge may lie from the line.";
        least_share = 0.5, "share", "judgement":
            "Share of the stations of a side that must have their edge on the line.";
        least_share_of_part = 0.3, "share", "judgement":
            "The same in each part of a side: a line that touches a bent side is not that side.";
        faint = 2.0, "times", "judgement":
            "A line is faint where more than half of the stations have an edge of this many times its strength: then the side itself may be what is strong there, only not straight.";
        stations_per_observation = 2.0, "stations", "judgement":
            "Stations that say something new each: neighbours see the same noise.";
        edge_deviation = 0.25, "px", "judgement":
            "What a bezel's edge is off the rectangle that it stands for, as a standard deviation: it has a width, and bright pictures swell.";
        alike = 0.6, "share", "judgement":
            "A second line with this part of the first one's evidence is as good a candidate.";
        most_unlike = 0.5, "steps of the edge", "judgement":
            "Largest difference of the colour outside of a side from that outside of both its neighbours, and along it: a bezel is lit unevenly, but what lies outside of a line within the picture is the picture.";
    }
}
