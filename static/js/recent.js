// The cars that this person opened last, kept in this browser alone: looking at a car writes nothing on the server.
//
// Hooks: data-recent-remember="label"  on a car's page; its address is remembered under the label
//        data-recent-list              where the cars are listed; hidden while there are none
//        data-recent-person            on both: who is signed in. Another person at the same computer starts anew.

const KEY = "recent-cars";
const MOST = 6;

function kept(person) {
  try {
    const found = JSON.parse(localStorage.getItem(KEY) ?? "null");
    return found?.person === person && Array.isArray(found.cars) ? found.cars : [];
  } catch {
    return []; // storage is switched off, or holds what nobody here wrote
  }
}

function keep(person, cars) {
  try {
    localStorage.setItem(KEY, JSON.stringify({ person, cars }));
  } catch {
    // Without storage the list stays empty; nothing else depends on it.
  }
}

const opened = document.querySelector("[data-recent-remember]");
if (opened) {
  const person = opened.dataset.recentPerson;
  const car = { href: location.pathname, label: opened.dataset.recentRemember };
  keep(person, [car, ...kept(person).filter((one) => one.href !== car.href)].slice(0, MOST));
}

const list = document.querySelector("[data-recent-list]");
if (list) {
  const cars = kept(list.dataset.recentPerson).filter((one) => /^\/vehicles\/\d+$/.test(one.href));
  if (!cars.length) keep(list.dataset.recentPerson, []);
  for (const { href, label } of cars) {
    const item = document.createElement("li");
    const link = document.createElement("a");
    link.href = href;
    link.textContent = String(label);
    item.append(link);
    list.querySelector("ul").append(item);
  }
  list.hidden = cars.length === 0;
}
