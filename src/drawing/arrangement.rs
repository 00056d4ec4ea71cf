//! How pictures and words share a page.
use super::{paper::GAP, print_picture::CAPTION, scene::Box2, table};

/// Least height of words below pictures, paper millimetres.
pub(crate) const TEXT_HEIGHT: f64 = 48.0;
/// Most part of the page that words below pictures ask for.
const MOST_TEXT: f64 = 0.45;

/// How three pictures, the third of which may be larger, and the words share the page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Arrangement {
    /// Two above, one below with the words beside it.
    Block,
    /// Three in a row, words below.
    Row,
    /// Three in a row, words beside them.
    Side,
    /// Two above, one below, words below it.
    Pile,
}

impl Arrangement {
    const ALL: [Self; 4] = [Self::Block, Self::Row, Self::Side, Self::Pile];

    /// The one that shows what matters largest; of equals the first.
    pub(crate) fn best(content: Box2, focus: Box2) -> Self {
        let size = |arrangement: Self| {
            let [width, height] = arrangement.cell(content);
            (width / focus.width).min(height / focus.height)
        };
        Self::ALL.into_iter().fold(Self::Block, |best, other| {
            if size(other) > size(best) {
                other
            } else {
                best
            }
        })
    }

    /// The largest picture it has room for, captions not counted.
    pub(crate) fn cell(self, content: Box2) -> [f64; 2] {
        let row = |width: f64| (width - 2.0 * GAP) / 3.0;
        match self {
            Self::Row => [
                row(content.width),
                content.height - CAPTION - GAP - TEXT_HEIGHT,
            ],
            Self::Block => [
                ((content.width - GAP) / 2.0).min(content.width - GAP - table::WIDTH),
                (content.height - GAP) / 2.0 - CAPTION,
            ],
            Self::Side => [
                row(content.width - GAP - table::WIDTH),
                content.height - CAPTION,
            ],
            Self::Pile => [
                (content.width - GAP) / 2.0,
                (content.height - TEXT_HEIGHT) / 2.0 - CAPTION - GAP,
            ],
        }
    }

    /// Whether the words stand below the pictures, as wide as the page.
    pub(crate) fn has_words_below(self) -> bool {
        matches!(self, Self::Row | Self::Pile)
    }

    /// The three pictures and the place of the words.
    ///
    /// The third need not keep the scale of the others: it takes what room they, words of `text_height` below and `beside` at its right
    /// leave.
    pub(crate) fn places(
        self,
        content: Box2,
        [width, height]: [f64; 2],
        text_height: f64,
        beside: f64,
    ) -> ([Box2; 3], Box2) {
        let text_height = text_height.min(content.height * MOST_TEXT);
        let column = width + GAP;
        let below = height + CAPTION + GAP;
        let (x, y) = match self {
            Self::Row | Self::Side => (2.0 * column, 0.0),
            Self::Block | Self::Pile => (0.0, below),
        };
        let room = if self.has_words_below() {
            [
                content.width - x - beside,
                content.height - y - CAPTION - GAP - text_height,
            ]
        } else {
            [
                content.width - x - GAP - table::WIDTH,
                content.height - y - CAPTION,
            ]
        };
        let growth = (room[0] / width).min(room[1] / height);
        // A little larger would look like a slip.
        let growth = if growth > 1.05 { growth } else { 1.0 };
        let at = |x: f64, y: f64, growth: f64| {
            let (left, top) = (content.x + x, content.y + y + CAPTION);
            Box2::new(left, top, width * growth, height * growth)
        };
        let third = at(x, y, growth);
        let text = if self.has_words_below() {
            let top = third.bottom() + GAP;
            Box2::new(content.x, top, content.width, content.bottom() - top)
        } else {
            let (left, top) = (third.right() + GAP, content.y + y);
            // Where the third picture is narrow the second one still stands above the text.
            Box2::new(left, top, content.right() - left, content.bottom() - top)
        };
        ([at(0.0, 0.0, 1.0), at(column, 0.0, 1.0), third], text)
    }
}

/// How two pictures of one size stand to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pair {
    Beside,
    Below,
}

impl Pair {
    /// The one that shows what matters largest.
    pub(crate) fn best(content: Box2, focus: Box2) -> Self {
        let size = |pair: Self| {
            let [width, height] = pair.cell(content);
            (width / focus.width).min(height / focus.height)
        };
        if size(Self::Below) > size(Self::Beside) {
            Self::Below
        } else {
            Self::Beside
        }
    }

    /// The largest picture it has room for, captions not counted.
    pub(crate) fn cell(self, content: Box2) -> [f64; 2] {
        match self {
            Self::Beside => [(content.width - GAP) / 2.0, content.height - CAPTION],
            Self::Below => [content.width, (content.height - GAP) / 2.0 - CAPTION],
        }
    }

    /// Two pictures of this size from the top of the page, in its middle.
    pub(crate) fn places(self, content: Box2, [width, height]: [f64; 2]) -> [Box2; 2] {
        let (right, down) = match self {
            Self::Beside => (width + GAP, 0.0),
            Self::Below => (0.0, height + CAPTION + GAP),
        };
        let left = content.x + (content.width - width - right) / 2.0;
        let top = content.y + CAPTION;
        [[0.0, 0.0], [right, down]].map(|[x, y]| Box2::new(left + x, top + y, width, height))
    }
}
