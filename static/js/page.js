// What every page gains from JavaScript; each page works without it.
import { watchKeys } from "./keys.js";
import { watchForms } from "./forms.js";
import { watchReadings } from "./readings.js";

watchKeys(document);
watchForms(document);
watchReadings(document);
