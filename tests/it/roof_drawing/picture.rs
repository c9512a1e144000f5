//! Reads a plate back: its lines by what they are, and the room its texts take.

/// Advance widths of U+0020 to U+007E in 1/1000 em, read from the font files of
/// DejaVu Sans and DejaVu Sans Bold 2.37: the widest common sans-serif.
const PLAIN: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636,
    636, 636, 636, 636, 636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632,
    575, 775, 752, 295, 295, 656, 557, 863, 748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685,
    611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635, 615, 352, 635, 634, 278, 278, 579,
    278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636, 337, 636, 838,
];
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696,
    696, 696, 696, 696, 696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683,
    683, 821, 837, 372, 372, 775, 637, 995, 837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771,
    724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716, 678, 435, 716, 712, 343, 343, 665,
    343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712, 365, 712, 838,
];

/// A text and the room it takes, in millimetres.
#[derive(Clone, Debug)]
pub(super) struct Words {
    pub(super) text: String,
    pub(super) size: f64,
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
}

/// A plate, read back.
#[derive(Debug, Default)]
pub(super) struct Picture {
    pub(super) width: f64,
    pub(super) height: f64,
    pub(super) texts: Vec<Words>,
    /// Class and points of every line and shape, in the order drawn.
    pub(super) lines: Vec<(String, Vec<(f64, f64)>)>,
}

fn advance(text: &str, widths: &[u16; 95]) -> f64 {
    let one = |c: char| {
        let at = u32::from(c).wrapping_sub(32) as usize;
        widths.get(at).map_or(1.0, |width| f64::from(*width) / 1000.0)
    };
    text.chars().map(one).sum()
}

fn number(node: roxmltree::Node<'_, '_>, name: &str) -> f64 {
    let text = node.attribute(name).unwrap_or_else(|| panic!("no {name} in {node:?}"));
    text.trim_end_matches("mm").parse().unwrap()
}

fn words(node: roxmltree::Node<'_, '_>, moved: (f64, f64)) -> Words {
    let size = number(node, "font-size");
    let (mut text, mut width) = (String::new(), 0.0);
    for part in node.descendants().filter(roxmltree::Node::is_text) {
        let bold = part.parent().unwrap().attribute("font-weight") == Some("bold");
        let letters = part.text().unwrap();
        text.push_str(letters);
        width += size * advance(letters, if bold { &BOLD } else { &PLAIN });
    }
    let (x, y) = (number(node, "x") + moved.0, number(node, "y") + moved.1);
    let left = match node.attribute("text-anchor") {
        Some("middle") => x - width / 2.0,
        Some("end") => x - width,
        _ => x,
    };
    // Capitals, digits and ascenders reach 0.76 em, descenders 0.24 em.
    let (top, bottom) = (y - 0.77 * size, y + 0.24 * size);
    Words { text, size, left, right: left + width, top, bottom }
}

fn moved(node: roxmltree::Node<'_, '_>) -> (f64, f64) {
    let nested = node.ancestors().filter(|up| up.has_tag_name("svg") && up.has_attribute("x"));
    let at = |node| (number(node, "x"), number(node, "y"));
    nested.map(at).fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1))
}

impl Picture {
    pub(super) fn read(svg: &str) -> Self {
        // roxmltree checks that the text is well-formed.
        let document = roxmltree::Document::parse(svg).unwrap();
        let root = document.root_element();
        let mut picture = Self {
            width: number(root, "width"),
            height: number(root, "height"),
            ..Self::default()
        };
        for node in root.descendants() {
            if node.has_tag_name("text") {
                picture.texts.push(words(node, moved(node)));
            }
            if let Some(points) = node.attribute("points") {
                let pair = |pair: &str| {
                    let (x, y) = pair.split_once(',').unwrap();
                    (x.parse().unwrap(), y.parse().unwrap())
                };
                let class = node.attribute("class").unwrap().to_owned();
                picture
                    .lines
                    .push((class, points.split(' ').filter(|p| !p.is_empty()).map(pair).collect()));
            }
        }
        picture
    }

    /// All lines and shapes of a class.
    pub(super) fn of(&self, class: &str) -> Vec<&[(f64, f64)]> {
        self.lines.iter().filter(|(name, _)| name == class).map(|(_, p)| p.as_slice()).collect()
    }

    /// All texts, one a line.
    pub(super) fn text(&self) -> String {
        self.texts.iter().map(|words| words.text.as_str()).collect::<Vec<_>>().join("\n")
    }

    /// The first two texts that lie over each other or outside the plate.
    pub(super) fn collision(&self) -> Option<String> {
        for (at, one) in self.texts.iter().enumerate() {
            if one.left < 0.0 || self.width < one.right || one.top < 0.0 || self.height < one.bottom
            {
                return Some(format!("outside the plate: {one:?}"));
            }
            for other in &self.texts[at + 1..] {
                if one.left < other.right
                    && other.left < one.right
                    && one.top < other.bottom
                    && other.top < one.bottom
                {
                    return Some(format!("{one:?}\nover\n{other:?}"));
                }
            }
        }
        None
    }
}
