watchSizes();
watchLights();
watchStanding();
watchPick();
document.body.dataset.state = "question";
document.body.dataset.ready = "";
