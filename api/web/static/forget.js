// On the page to sign in: pages of the bench that this device keeps are for whoever was signed in.
// Signing out leads here, and so does every page once its session has ended. What waits to be sent
// is kept elsewhere and stays: it was written before.
"use strict";

if ("caches" in window) {
  caches.keys().then((names) => {
    names.filter((one) => one.startsWith("bench-")).forEach((one) => caches.delete(one));
  });
}
