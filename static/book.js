// Scripts only add. Nothing here is needed to write anything down.
"use strict";
