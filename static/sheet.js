// What every sheet may use. Each module looks for its own marks on the page and does nothing where there are none;
// every page works without any of this.

import { lookAgain } from "./again.js";
import { tieBalloons } from "./balloons.js";
import { moveInGrid } from "./grid.js";
import { guardUnsaved } from "./guard.js";
import { keepDrafts } from "./keep.js";
import { fitKeypads } from "./keypad.js";
import { moveByKeys, takePaste } from "./paste.js";
import { reviewByKeys } from "./review.js";

tieBalloons(document);
guardUnsaved(document);
keepDrafts(document);
fitKeypads(document);
takePaste(document);
moveByKeys(document);
reviewByKeys(document);
moveInGrid(document);
lookAgain(document);
