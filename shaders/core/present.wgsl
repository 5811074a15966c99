// What a scene may hold. The kernels ask before anything else, so that a compiler leaves out what is not
// there; here all is. A GPU gets this text with a scene's own answers (src/scene/needs.rs).

// Lights: shapes, tables, several candidates a place; any without a body.
const HAS_GLOBES: bool = true;
const HAS_TUBES: bool = true;
const HAS_CAPS: bool = true;
const HAS_SIDES: bool = true;
const HAS_RADIALS: bool = true;
const HAS_QUARTERS: bool = true;
const HAS_GATES: bool = true;
const HAS_SCREENS: bool = true;
const HAS_CHOICES: bool = true;
const HAS_BARE: bool = true;
// Surfaces: any top layer, kinds of it, what is painted (skin and eyes too), sheets that light passes straight.
const HAS_TOPS: bool = true;
const HAS_METAL: bool = true;
const HAS_SHEEN: bool = true;
const HAS_PAINT: bool = true;
const HAS_SKIN: bool = true;
const HAS_EYES: bool = true;
const HAS_HAIR: bool = true;
const HAS_SHEETS: bool = true;
const HAS_RELIEF: bool = true;
// Flats whose light is known.
const HAS_FLATS: bool = true;
// Cloth, its structures, fibres that lie loose on it.
const HAS_CLOTH: bool = true;
const HAS_WOVEN: bool = true;
const HAS_KNIT: bool = true;
const HAS_NET: bool = true;
const HAS_LACE: bool = true;
const HAS_VELVET: bool = true;
const HAS_CORDUROY: bool = true;
const HAS_LEATHER: bool = true;
const HAS_SEQUINS: bool = true;
const HAS_MAPS: bool = true;
const HAS_FIBRES: bool = true;
