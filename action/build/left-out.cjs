// Stands in the bundle for packages that are needed to download, list and delete artifacts, which this Action never does.
module.exports = {};
