"use strict";

const place = document.getElementById("docs");

const csrfToken = () => {
  const found = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return found ? decodeURIComponent(found[1]) : "";
};

SwaggerUIBundle({
  url: place.dataset.schema,
  domNode: place,
  presets: [SwaggerUIBundle.presets.apis],
  layout: "BaseLayout",
  deepLinking: true,
  docExpansion: "list",
  defaultModelsExpandDepth: 0,
  filter: true,
  tryItOutEnabled: false,
  validatorUrl: null,
  requestInterceptor: (request) => {
    const sameOrigin = new URL(request.url, document.baseURI).origin === window.location.origin;
    if (sameOrigin && request.method && request.method !== "GET") {
      request.headers["X-CSRFToken"] = csrfToken();
    }
    return request;
  },
});
