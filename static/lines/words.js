/* Figures and names as the pages of line checks say them (templates/lines/checks/parts.html). */

export const capital = (name) => name.slice(0, 1).toUpperCase() + name.slice(1);
export const percent = (chance) => (chance > 0.99 ? "over 99 %" : `${Math.round(chance * 100)} %`);
export const before = (chance) => (chance < 0.001 ? "under 1 in 1000" : `${(chance * 100).toFixed(1)} %`);
export const minutes = (seconds) => (seconds < 60 ? "under a minute" : `${(seconds / 60).toFixed(1)} minutes`);
