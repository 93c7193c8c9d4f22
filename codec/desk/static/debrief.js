// The charts of the debrief.
import { charts } from "./chart.js";

charts(document);
